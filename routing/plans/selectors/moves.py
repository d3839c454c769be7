"""What customers and crews were told of a day, and what is different now, in words."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.work.models import Job
from routing.dispatch.models import SentStop
from routing.plans.choices import PlanState
from routing.plans.domain.keys import job_id_of, job_key
from routing.plans.domain.replans import Moved, Told, moved_stops, stops_of
from routing.plans.models import Crew, DayPlan
from routing.plans.selectors.hours import clock_text
from routing.solver import parse_plan


@dataclass(frozen=True)
class MoveInWords:
    """One stop that is not as it was told. `words` say what is different, `who` whom it concerns."""

    move: Moved
    job: Job
    who: str
    words: str

    @property
    def must_be_called(self) -> bool:
        return self.move.must_be_called


def told_stops(plan: DayPlan) -> dict[str, Told]:
    """By job, as the newest version that was sent out has it; as the plan has it where none was. One query."""
    sent = SentStop.objects.filter(route__sent__plan=plan).select_related("route__crew", "route__sent")
    stops = list(sent)
    newest = max((stop.route.sent.number for stop in stops), default=0)
    told = {
        job_key(stop.job_id): Told(stop.route.crew.code, stop.start_minute)
        for stop in stops
        if stop.route.sent.number == newest
    }
    return told or stops_of(parse_plan(plan.plan))


def moves_since_sent(plan: DayPlan) -> tuple[MoveInWords, ...]:
    """What changed since the plan was sent out, those who must be called first; nothing for a draft. Three queries."""
    if plan.state != PlanState.CHANGED:
        return ()
    return in_words(plan, moved_stops(told_stops(plan), stops_of(parse_plan(plan.plan))))


def in_words(plan: DayPlan, moves: Iterable[Moved]) -> tuple[MoveInWords, ...]:
    """Two queries."""
    given = list(moves)
    ids = [job_id_of(move.job) for move in given]
    jobs = Job.objects.filter(pk__in=ids).select_related("property__customer").in_bulk()
    names = dict(Crew.objects.values_list("code", "name"))
    return tuple(_move(plan, move, jobs[job_id_of(move.job)], names) for move in given if job_id_of(move.job) in jobs)


def _move(plan: DayPlan, move: Moved, job: Job, names: dict[str, str]) -> MoveInWords:
    def at(told: Told) -> str:
        return clock_text(plan.work_date, told.start, plan.yard.timezone)

    before, now = move.before, move.now
    customer = job.property.customer
    who = ", ".join(filter(None, [job.property.street, customer.name, customer.phone_e164]))
    if now is None:
        words = _("left out today; it was told %(before)s") % {"before": at(before)}
    elif move.must_be_called:
        words = _("begins %(after)s, not %(before)s") % {"after": at(now), "before": at(before)}
    else:
        words = _("begins %(after)s, much as it was told") % {"after": at(now)}
    if now is not None and move.changes_crew:
        crews = {"after": names.get(now.crew, now.crew), "before": names.get(before.crew, before.crew)}
        words += "; " + _("%(after)s comes instead of %(before)s") % crews
    return MoveInWords(move, job, who, words)
