"""Changes of a plan by hand. Each names the version that the person saw; nothing is saved that breaks a rule."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from jobs.work.models import Job
from routing.dispatch.models import StopMark
from routing.plans.choices import ChangeKind, LeftOutReason, PlanState
from routing.plans.domain.changes import Orders, allow_everywhere, orders_of, plan_again, with_job, without
from routing.plans.domain.keys import job_key
from routing.plans.domain.problem import digest_of
from routing.plans.errors import BrokenRule
from routing.plans.models import DayPlan, Stop
from routing.plans.selectors.days import day_plan_by_id
from routing.plans.selectors.inputs import OPEN_STATES, SetAside, jobs_in_other_plans
from routing.plans.selectors.labels import in_words
from routing.plans.services.storing import plan_rows_replace
from routing.solver import Broken, Plan, Problem, parse_plan, parse_problem, plan_to_json, problem_to_json
from shared import clock
from shared.errors import NotFound, Refused, Stale
from shared.events.services import event_record


@dataclass(frozen=True)
class _Seen:
    """The plan that the person looked at, as the solver's data."""

    row: DayPlan
    problem: Problem
    content: Plan
    taken_out: frozenset[int]
    begun: frozenset[str]

    @property
    def orders(self) -> dict[str, tuple[str, ...]]:
        return orders_of(self.content)

    def crew_of(self, job: str) -> str | None:
        return next((crew for crew, order in self.orders.items() if job in order), None)


def stop_move(
    *, plan_id: int, job_id: int, crew_code: str, position: int, expected_version: int, actor: Any = None
) -> DayPlan:
    """Give a stop to a crew as its stop number `position` (from 1). The other stops keep their order.

    Raises NotFound, Stale (another version than the expected one), BrokenRule (in words; nothing is saved).
    """
    seen = _see(plan_id, expected_version)
    job = _placed(seen, job_id)
    _refuse_begun(seen, job, crew_code, position)
    orders = with_job(seen.orders, job, _known_crew(seen, crew_code), position)
    return _save(seen, orders, actor=actor, kind="plan.stop_moved", data={"job": job_id, "crew": crew_code})


def stop_take_out(*, plan_id: int, job_id: int, expected_version: int, actor: Any = None) -> DayPlan:
    """Take a stop out of the day; it stays out when the day is planned again. Raises as `stop_move`.

    A promised job cannot be taken out: the promise has to be changed first, with the customer.
    """
    seen = _see(plan_id, expected_version)
    job = _placed(seen, job_id)
    _refuse_begun(seen, job, None, 0)
    taken_out = seen.taken_out | {job_id}
    orders = without(seen.orders, job)
    data = {"job": job_id}
    return _save(seen, orders, actor=actor, kind="plan.stop_taken_out", data=data, taken_out=taken_out)


def job_put_in(
    *, plan_id: int, job_id: int, crew_code: str, position: int, expected_version: int, actor: Any = None
) -> DayPlan:
    """Put a left-out job into a crew's route as stop number `position`. Raises as `stop_move`, and Refused for a job
    that the plan was made without, was called off or stands in another plan meanwhile."""
    seen = _see(plan_id, expected_version)
    job = job_key(job_id)
    if seen.crew_of(job) is not None:
        raise Refused(_("This job is in the plan already; move it instead."))
    if job not in seen.problem.job_by_id:
        raise Refused(_("The plan was made without this job. Plan the day again to include it."))
    _refuse_begun(seen, None, crew_code, position)
    if seen.problem.job_by_id[job].crews == ():
        seen = _opened(seen, job)
    orders = with_job(seen.orders, job, _known_crew(seen, crew_code), position)
    return _save(
        seen,
        orders,
        actor=actor,
        kind="plan.job_put_in",
        data={"job": job_id, "crew": crew_code},
        taken_out=seen.taken_out - {job_id},
        check=_still_free(seen, job_id),
    )


def stop_lock(*, plan_id: int, job_id: int, expected_version: int, actor: Any = None) -> DayPlan:
    """Keep a stop with its crew when the day is planned again. Raises NotFound, Stale."""
    return _lock(plan_id, job_id, expected_version, actor, locked=True)


def stop_unlock(*, plan_id: int, job_id: int, expected_version: int, actor: Any = None) -> DayPlan:
    """Let a stop go to any crew again when the day is planned again. Raises NotFound, Stale."""
    return _lock(plan_id, job_id, expected_version, actor, locked=False)


def plan_change(
    *,
    plan_id: int,
    kind: str,
    job_id: int,
    expected_version: int,
    crew_code: str = "",
    position: int | None = None,
    actor: Any = None,
) -> DayPlan:
    """One of the changes above by its name (`ChangeKind`), as pages and programs ask for it.

    `up` and `down` exchange a stop with its neighbour. Without a position a stop goes to the end of the route.
    """
    change = ChangeKind(kind)
    seen: dict[str, Any] = {"plan_id": plan_id, "job_id": job_id, "expected_version": expected_version, "actor": actor}
    if change in _WITHOUT_TARGET:
        return _WITHOUT_TARGET[change](**seen)
    if change in _STEPS:
        crew_code, position = _beside(plan_id, job_id, _STEPS[change])
    to = LAST if position is None else position
    place = job_put_in if change == ChangeKind.PUT_IN else stop_move
    return place(**seen, crew_code=crew_code, position=to)


LAST = 10_000
_WITHOUT_TARGET = {
    ChangeKind.LOCK: stop_lock,
    ChangeKind.UNLOCK: stop_unlock,
    ChangeKind.TAKE_OUT: stop_take_out,
}
_STEPS = {ChangeKind.UP: -1, ChangeKind.DOWN: 1}


def _beside(plan_id: int, job_id: int, step: int) -> tuple[str, int]:
    """The crew and the place next to where a stop is now. Raises NotFound."""
    stop = Stop.objects.filter(route__plan=plan_id, job=job_id).select_related("route__crew").first()
    if stop is None:
        raise NotFound(_("This job is not in the plan."))
    return stop.route.crew.code, max(1, stop.position + step)


def _lock(plan_id: int, job_id: int, expected_version: int, actor: Any, *, locked: bool) -> DayPlan:
    seen = _see(plan_id, expected_version)
    _placed(seen, job_id)
    with transaction.atomic():
        _next_version(seen.row, {"changed_at": clock.now()})
        Stop.objects.filter(route__plan=seen.row, job_id=job_id).update(is_locked=locked)
        kind = "plan.stop_locked" if locked else "day_plan.stop_unlocked"
        _record(seen, actor, kind, {"job": job_id})
    return day_plan_by_id(plan_id=plan_id)


def _see(plan_id: int, expected_version: int) -> _Seen:
    row = day_plan_by_id(plan_id=plan_id)
    if row.version != expected_version:
        raise _stale()
    by_hand = (left.job_id for left in row.left_out.all() if left.reason == LeftOutReason.TAKEN_OUT)
    marks = StopMark.objects.filter(crew__yard=row.yard, work_date=row.work_date).values_list("job_id", flat=True)
    return _Seen(
        row=row,
        problem=parse_problem(row.problem),
        content=parse_plan(row.plan),
        taken_out=frozenset(by_hand),
        begun=frozenset(job_key(job_id) for job_id in marks),
    )


def _stale() -> Stale:
    return Stale(_("Somebody changed this plan meanwhile. Look at it again, then repeat the change."))


def _placed(seen: _Seen, job_id: int) -> str:
    job = job_key(job_id)
    if seen.crew_of(job) is None:
        raise NotFound(_("This job is not in the plan."))
    return job


def _known_crew(seen: _Seen, crew_code: str) -> str:
    if crew_code not in seen.problem.crew_by_id:
        raise Refused(_("Crew %(crew)s is not on shift in this plan.") % {"crew": crew_code})
    return crew_code


def _refuse_begun(seen: _Seen, job: str | None, crew_code: str | None, position: int) -> None:
    """What a crew has reached stays where it is, and nothing goes before it. Raises BrokenRule."""
    if job in seen.begun:
        raise BrokenRule(_("The crew is there already or was; this stop cannot be changed any more."))
    order = [other for other in seen.orders.get(crew_code or "", ()) if other != job]
    begun = max((number for number, other in enumerate(order, start=1) if other in seen.begun), default=0)
    if crew_code and position <= begun:
        raise BrokenRule(
            _("The first %(count)s stops of this crew are done or under way; choose a later place.") % {"count": begun}
        )


def _opened(seen: _Seen, job: str) -> _Seen:
    """A job that was planned as taken out is open to all crews again; the bound grows by what it may earn."""
    gain = max(0, seen.problem.job_by_id[job].gain_cents)
    content = parse_plan({**seen.row.plan, **_bound(seen.content, seen.content.upper_bound_cents + gain)})
    return _Seen(seen.row, allow_everywhere(seen.problem, job), content, seen.taken_out, seen.begun)


def _bound(content: Plan, bound_cents: float) -> dict[str, float]:
    gap = (bound_cents - content.value_cents) / max(abs(bound_cents), 1.0)
    return {"upper_bound_cents": bound_cents, "gap": gap}


def _still_free(seen: _Seen, job_id: int) -> Callable[[], None]:
    def check() -> None:
        free = Job.objects.select_for_update().filter(pk=job_id, state__in=OPEN_STATES).exists()
        today = clock.local_date(seen.row.yard.timezone, clock.now())
        row = seen.row
        if not free or jobs_in_other_plans([job_id], yard=row.yard, days=[row.work_date], today=today):
            raise Refused(_("This job is not free any more: it was called off, or another plan holds it."))

    return check


def _save(
    seen: _Seen,
    orders: Orders,
    *,
    actor: Any,
    kind: str,
    data: dict[str, Any],
    taken_out: frozenset[int] | None = None,
    check: Callable[[], None] = lambda: None,
) -> DayPlan:
    notes = {"changed_by_hand": True}
    content = plan_again(seen.problem, seen.content, orders, seen.content.upper_bound_cents, notes)
    if isinstance(content, Broken):
        raise BrokenRule(*in_words([content.reason], yard=seen.row.yard, work_date=seen.row.work_date))
    by_hand = seen.taken_out if taken_out is None else taken_out
    with transaction.atomic():
        _next_version(seen.row, _fields(seen, content, by_hand))
        check()
        plan_rows_replace(
            plan=seen.row, problem=seen.problem, content=content, taken_out=by_hand, set_aside=_set_aside(seen)
        )
        worth = {"value_before_cents": seen.content.value_cents, "value_cents": content.value_cents}
        _record(seen, actor, kind, {**data, **worth})
    return day_plan_by_id(plan_id=seen.row.pk)


def _fields(seen: _Seen, content: Plan, taken_out: frozenset[int]) -> dict[str, Any]:
    data = plan_to_json(content)
    for entry in data["left_out"]:
        if entry["job"] in {job_key(job_id) for job_id in taken_out}:
            entry["note"] = LeftOutReason.TAKEN_OUT.value
    return {
        "problem": problem_to_json(seen.problem),
        "plan": data,
        "inputs_digest": digest_of(seen.problem),
        "value_cents": content.value_cents,
        "upper_bound_cents": content.upper_bound_cents,
        "changed_at": clock.now(),
        "state": PlanState.DRAFT if seen.row.state == PlanState.DRAFT else PlanState.CHANGED,
    }


def _set_aside(seen: _Seen) -> list[SetAside]:
    """Jobs that were not in the problem stay listed with their reasons."""
    outside = (left for left in seen.row.left_out.all() if job_key(left.job_id) not in seen.problem.job_by_id)
    return [SetAside(left.job_id, LeftOutReason(left.reason), left.note) for left in outside]


def _next_version(row: DayPlan, fields: dict[str, Any]) -> None:
    """The guard against overwriting: only the version that was seen can be followed by another."""
    if not DayPlan.objects.filter(pk=row.pk, version=row.version).update(**fields, version=F("version") + 1):
        raise _stale()


def _record(seen: _Seen, actor: Any, kind: str, data: dict[str, Any]) -> None:
    event_record(kind=kind, subject=seen.row, actor=actor, data={"version": seen.row.version + 1, **data})
