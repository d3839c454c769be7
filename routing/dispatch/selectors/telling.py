"""Who is to be told when a crew comes, and who was."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import OuterRef, Subquery

from jobs.reminders.domain.consent import ChannelChoice
from jobs.reminders.selectors import channels_for_booked_work
from jobs.work.choices import JobState
from jobs.work.models import JobWindow
from routing.dispatch.domain.telling import Coming, Window, news, window_to_tell
from routing.dispatch.models import SentPlan, SentStop, TellingSettings, ToldKind, ToldTime
from routing.dispatch.selectors.sent import marks_of
from routing.plans.models import DayPlan, Yard
from shared import clock
from shared.outbox.models import MessageState


@dataclass(frozen=True)
class StopToTell:
    """A stop that lies ahead. `news` is `first`, `changed` or empty; `channel` is empty where nobody can be written to.

    `told` is the newest thing that the customer heard, `window` what to tell now.
    """

    stop: SentStop
    window: Window
    news: str
    told: ToldTime | None
    channel: ChannelChoice
    address: str


def telling_settings_get() -> TellingSettings:
    settings, _made = TellingSettings.objects.get_or_create(pk=1)
    return settings


def stops_to_tell(*, plan: DayPlan, now: datetime) -> list[StopToTell]:
    """The stops of the version in force that no crew has reached, by crew and position."""
    sent = SentPlan.objects.filter(plan=plan).order_by("-number").first()
    if sent is None:
        return []
    return _entries(_ahead(sent, plan, now), plan)


def stop_to_tell(*, stop: SentStop, plan: DayPlan) -> StopToTell:
    """One stop, wherever the crew is by now."""
    (entry,) = _entries([stop], plan)
    return entry


def _entries(stops: Sequence[SentStop], plan: DayPlan) -> list[StopToTell]:
    told = _newest_told([stop.job_id for stop in stops], plan.work_date)
    promised = _promised([stop.job_id for stop in stops], plan)
    ways = channels_for_booked_work(stop.job.property.customer for stop in stops)
    return [_to_tell(stop, plan, promised, told, ways) for stop in stops]


def announced(*, job_ids: Sequence[int], work_date: date) -> set[int]:
    """The jobs whose customers were told that the crew is on its way."""
    rows = ToldTime.objects.filter(job__in=job_ids, work_date=work_date, kind=ToldKind.ON_OUR_WAY)
    return set(rows.values_list("job_id", flat=True))


def told_in_vain(*, plan: DayPlan) -> list[ToldTime]:
    """The newest word to each customer who was told that a crew comes on the plan's day, and to whom none goes now.

    Somebody has to call them. Those whose message never left are not among them.
    """
    once = SentStop.objects.filter(route__sent__plan=plan).values_list("job", flat=True).distinct()
    told = _newest_told(list(once), plan.work_date)
    going = gone_to(job_ids=told, work_date=plan.work_date)
    left = (MessageState.SENT, MessageState.SENDING)
    return [row for job, row in told.items() if job not in going and row.message.state in left]


def gone_to(*, job_ids: Iterable[int], work_date: date) -> set[int]:
    """The jobs to which a crew goes on that day, by the versions that were sent out last; work that still stands."""
    stops = SentStop.objects.filter(job__in=list(job_ids), route__sent__plan__work_date=work_date)
    newest = SentPlan.objects.filter(plan=OuterRef("route__sent__plan")).order_by("-number").values("pk")[:1]
    in_force = stops.filter(route__sent=Subquery(newest))
    standing = in_force.exclude(job__state__in=(JobState.DECLINED, JobState.CALLED_OFF))
    return set(standing.values_list("job", flat=True))


def arrival_of(stop: SentStop, plan: DayPlan) -> datetime:
    return clock.at_minute(plan.work_date, stop.arrive_minute, plan.yard.timezone)


def plans_to_tell(*, yard: Yard, days: Sequence[date]) -> list[DayPlan]:
    return list(DayPlan.objects.filter(yard=yard, work_date__in=days, sent__isnull=False).distinct())


def _ahead(sent: SentPlan, plan: DayPlan, now: datetime) -> list[SentStop]:
    stops = SentStop.objects.filter(route__sent=sent).select_related(
        "route__crew", "job__property__customer", "route__sent__plan__yard"
    )
    ordered = list(stops.order_by("route__crew__code", "position"))
    reached = marks_of(job_ids=[stop.job_id for stop in ordered], work_date=plan.work_date)
    return [stop for stop in ordered if stop.job_id not in reached and arrival_of(stop, plan) > now]


def _newest_told(job_ids: Iterable[int], work_date: date) -> dict[int, ToldTime]:
    rows = ToldTime.objects.filter(job__in=list(job_ids), work_date=work_date).order_by("at", "id")
    return {row.job_id: row for row in rows.select_related("message", "job__property__customer")}


def _promised(job_ids: Iterable[int], plan: DayPlan) -> dict[int, list[Window]]:
    found: dict[int, list[Window]] = {}
    rows = JobWindow.objects.filter(job__in=list(job_ids), promised=True, first_date=plan.work_date)
    for row in rows.order_by("start_minute"):
        ends = [
            clock.wall_clock_at(plan.work_date, minute, plan.yard.timezone)
            for minute in (row.start_minute, row.end_minute)
        ]
        found.setdefault(row.job_id, []).append((ends[0], ends[1]))
    return found


def _to_tell(
    stop: SentStop,
    plan: DayPlan,
    promised: dict[int, list[Window]],
    told: dict[int, ToldTime],
    ways: dict[int, tuple[ChannelChoice, str]],
) -> StopToTell:
    earlier = told.get(stop.job_id)
    coming = Coming(
        arrives=arrival_of(stop, plan),
        promised=promised.get(stop.job_id, []),
        told=(earlier.opens_at, earlier.closes_at) if earlier else None,
    )
    choice, address = ways[stop.job.property.customer_id]
    nothing_new = earlier is not None and earlier.kind == ToldKind.ON_OUR_WAY
    return StopToTell(stop, window_to_tell(coming), "" if nothing_new else news(coming), earlier, choice, address)
