"""Whom to remind now so that the answers fill the coming weeks: the reminders' proposal for the room of the plans."""

from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef, Q, Subquery, Sum

from jobs.reminders.proposal import DueProposal, Room, due_proposal
from jobs.work.choices import JobState
from jobs.work.models import JobLine, JobWindow
from routing.plans.models import Stop
from routing.plans.selectors.detours import added_minutes
from routing.plans.selectors.near import free_by_day


def proposal_of(*, today: date, now: datetime, weeks: int, keep_hours: int | None = None) -> DueProposal:
    """The proposal for the coming weeks, with the room that plans, agreed work and `keep_hours` leave. Reads only."""
    return due_proposal(
        today=today,
        now=now,
        room=_room(today, weeks, 60 * (keep_hours or 0)),
        detours=lambda places: added_minutes(places=places, today=today, weeks=weeks),
    )


def _room(today: date, weeks: int, kept: int) -> Room:
    """Room of the weeks to fill; `later` of it is what the week after adds."""
    last, later_last = today + timedelta(weeks=weeks), today + timedelta(weeks=weeks + 1)
    free = free_by_day(today=today, last=later_last)
    undated, later_undated = _undated_minutes(today, last, later_last)
    now = Room(sum(minutes for day, minutes in free.items() if day <= last), undated, kept)
    then = Room(sum(free.values()), later_undated, kept)
    return Room(now.free, undated, kept, later=max(0, then.minutes - now.minutes))


def _undated_minutes(today: date, *lasts: date) -> list[int]:
    """Crew-minutes of work that is agreed for the days up to each of these, or for any time, and has no day yet: it is
    in no plan from today on and not promised. It takes room of the free minutes, on whatever day."""
    planned = Stop.objects.filter(job=OuterRef("job"), route__plan__work_date__gte=today)
    windows = JobWindow.objects.filter(job=OuterRef("job"))
    opens = windows.filter(last_date__gte=today).order_by("first_date").values("first_date")[:1]
    lines = JobLine.objects.filter(job__state=JobState.AGREED).exclude(Exists(planned))
    lines = lines.exclude(Exists(windows.filter(promised=True)))
    lines = lines.annotate(opens=Subquery(opens), any_time=~Exists(windows))
    found = lines.aggregate(
        **{
            f"until_{number}": Sum("estimated_minutes", filter=Q(any_time=True) | Q(opens__lte=last), default=0)
            for number, last in enumerate(lasts)
        }
    )
    return [found[f"until_{number}"] for number in range(len(lasts))]
