"""Planning a week, and taking its days over as day plans."""

from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from routing.plans.choices import FIRST_DAY, LAST_DAY, RunState, WeekState
from routing.plans.domain.keys import job_id_of
from routing.plans.domain.week import orders_by_day, placed_on
from routing.plans.errors import AlreadyPlanning, NothingToPlan, PlanningFailed
from routing.plans.models import PlanRun, WeekPlan, Yard
from routing.plans.selectors.inputs import DayInputs, day_problem
from routing.plans.selectors.labels import in_words
from routing.plans.selectors.weeks import open_days, week_inputs, week_of, week_plan_by_id
from routing.plans.services.runs import (
    GRACE_SECONDS,
    QUEUE_SECONDS,
    UNFINISHED,
    checked,
    plan_store,
    progress_of,
    run_create,
)
from routing.solver import Plan, SolverFailed, evaluate, parse_plan, plan_to_json, problem_to_json, solve_in_child
from shared import clock
from shared.background.services import enqueue
from shared.errors import Refused, Stale, WalldayError
from shared.events.services import event_record

MAKE_TASK, TAKE_OVER_TASK = "plans.make_week_plan", "plans.take_over_week"
SECONDS_PER_DAY = 3  # for the bound of each day that is taken over
WORKING = (WeekState.WAITING, WeekState.RUNNING, WeekState.TAKING_OVER)


def week_plan_request(
    *, yard: Yard, day: date, seconds: int, actor: Any = None, now: datetime | None = None
) -> WeekPlan:
    """Have the week that holds `day` planned in the background. Raises as `week_plan_make`."""
    week = _create(yard, day, seconds, actor, now or clock.now())
    enqueue(MAKE_TASK, week_id=week.pk)
    return week


def week_plan_make(*, yard: Yard, day: date, seconds: int, actor: Any = None, now: datetime | None = None) -> WeekPlan:
    """Plan the week that holds `day` now. Nothing of its days changes until it is taken over.

    Raises AlreadyPlanning, Refused, NothingToPlan or PlanningFailed; the row says why.
    """
    week = _create(yard, day, seconds, actor, now or clock.now())
    week_plan_execute(week_id=week.pk, now=now)
    return week_plan_by_id(week_id=week.pk)


@transaction.atomic
def _create(yard: Yard, day: date, seconds: int, actor: Any, now: datetime) -> WeekPlan:
    if not FIRST_DAY <= day <= LAST_DAY:
        raise Refused(
            _("Only days from %(first)s to %(last)s can be planned.") % {"first": FIRST_DAY, "last": LAST_DAY}
        )
    week_plans_reap(now=now)
    first = week_of(day)[0]
    if WeekPlan.objects.filter(yard=yard, first_day=first, state__in=WORKING).exists():
        raise AlreadyPlanning(_("This week is being planned already."))
    days = open_days(yard=yard, first_day=first, now=now)
    if not days:
        raise NothingToPlan(_("No day of this week is left to plan: they are over, today, or sent out."))
    week = WeekPlan(
        yard=yard,
        first_day=first,
        days=[each.isoformat() for each in days],
        seconds_allowed=seconds,
        requested_by=actor,
        created_at=now,
    )
    week.full_clean()
    week.save()
    return week


def week_plans_reap(*, now: datetime) -> None:
    """Rows whose process must have ended: a plan that was being made has failed, a proposal is a proposal again."""
    text = _("The process that worked on it has ended; nothing was changed.")
    for week in WeekPlan.objects.filter(state__in=WORKING).order_by("pk"):
        allowed = QUEUE_SECONDS + week.seconds_allowed + GRACE_SECONDS
        if (week.started_at or week.created_at) + timedelta(seconds=allowed) < now:
            _end(week.pk, WeekState.DONE if week.state == WeekState.TAKING_OVER else WeekState.FAILED, text)


def week_plan_execute(*, week_id: int, now: datetime | None = None) -> None:
    """Carry out a waiting week plan. The row is finished whatever happens."""
    moment = now or clock.now()
    waiting = WeekPlan.objects.filter(pk=week_id, state=WeekState.WAITING)
    if not waiting.update(state=WeekState.RUNNING, started_at=moment):
        return
    week = week_plan_by_id(week_id=week_id)
    try:
        _plan(week, moment)
    except WalldayError as error:
        _end(week_id, WeekState.FAILED, error.message)
        raise
    except BaseException:
        _end(week_id, WeekState.FAILED, _("Planning ended with an error; nothing was changed."))
        raise


def _plan(week: WeekPlan, now: datetime) -> None:
    inputs = week_inputs(yard=week.yard, days=_days(week), now=now)
    problem = inputs.problem
    if not problem.crews or not problem.jobs:
        raise NothingToPlan(_("No crew works on the days that are left, or no agreed job may be done on them."))
    try:
        content = solve_in_child(problem, seconds=week.seconds_allowed, on_progress=progress_of(WeekPlan, week.pk))
    except SolverFailed as error:
        raise PlanningFailed(_("The solver ended without a plan: %(why)s.") % {"why": str(error)}) from error
    faults = evaluate(problem, content).faults
    if faults:
        raise PlanningFailed(_("The plan did not pass its check: %(faults)s") % {"faults": "; ".join(faults)})
    data = plan_to_json(content)
    if content.reasons:
        data["reasons"] = in_words(content.reasons, yard=week.yard, work_date=_days(week)[0])
    WeekPlan.objects.filter(pk=week.pk, state=WeekState.RUNNING).update(
        state=WeekState.DONE,
        finished_at=clock.now(),
        problem=problem_to_json(problem),
        plan=data,
        value_cents=content.value_cents,
        upper_bound_cents=content.upper_bound_cents,
        drive_source=inputs.drive_source,
        notices=list(inputs.notices),
    )


def week_take_over_request(*, week_id: int, actor: Any = None) -> WeekPlan:
    """Have the proposed days made into day plans in the background. Raises Stale unless the week plan is ready."""
    ready = WeekPlan.objects.filter(pk=week_id, state=WeekState.DONE)
    if not ready.update(state=WeekState.TAKING_OVER, started_at=clock.now(), problem_text=""):
        raise Stale(_("This week plan is not ready, or was taken over already."))
    enqueue(TAKE_OVER_TASK, week_id=week_id, actor_id=getattr(actor, "pk", 0))
    return week_plan_by_id(week_id=week_id)


def week_take_over(*, week_id: int, actor: Any = None, now: datetime | None = None) -> None:
    """Make the proposed days into day plans: all of them, or none where anything changed meanwhile.

    Each day is solved once more for a bound of its own, with the jobs of the week's other days left to those days.
    """
    moment = now or clock.now()
    ready = WeekPlan.objects.filter(pk=week_id, state=WeekState.DONE)
    ready.update(state=WeekState.TAKING_OVER, started_at=moment, problem_text="")
    week = week_plan_by_id(week_id=week_id)
    if week.state != WeekState.TAKING_OVER:
        raise Stale(_("This week plan is not ready, or was taken over already."))
    try:
        _store_days(week, _contents(week, moment), actor, moment)
    except WalldayError as error:
        _end(week_id, WeekState.DONE, error.message)
        raise
    except BaseException:
        _end(week_id, WeekState.DONE, _("Taking over ended with an error; nothing was changed."))
        raise


def _contents(week: WeekPlan, now: datetime) -> list[tuple[DayInputs, Plan]]:
    orders = orders_by_day(parse_plan(week.plan))
    days, found, placed = _days(week), [], set[str]()
    for day in days:
        elsewhere = placed.union(*(placed_on(orders, other) for other in days if other != day))
        inputs = day_problem(
            yard=week.yard,
            work_date=day,
            now=now,
            others=frozenset(job_id_of(job) for job in elsewhere),
            week=frozenset(days),
        )
        if not inputs.problem.crews:
            continue
        try:
            content = solve_in_child(inputs.problem, seconds=SECONDS_PER_DAY, first=orders.get(day, {}))
        except SolverFailed as error:
            raise PlanningFailed(_("The solver ended without a plan: %(why)s.") % {"why": str(error)}) from error
        placed |= {job for route in content.routes for job in route.job_ids}
        found.append((inputs, checked(inputs, content)))
    return found


@transaction.atomic
def _store_days(week: WeekPlan, contents: list[tuple[DayInputs, Plan]], actor: Any, now: datetime) -> None:
    for inputs, content in contents:
        if PlanRun.objects.filter(yard=week.yard, work_date=inputs.work_date, state__in=UNFINISHED).exists():
            raise AlreadyPlanning(_("A day of this week is being planned already."))
        run = run_create(
            yard=week.yard,
            work_date=inputs.work_date,
            seconds_allowed=SECONDS_PER_DAY,
            requested_by=actor,
            created_at=now,
            started_at=now,
            state=RunState.RUNNING,
            inputs_digest=inputs.digest,
        )
        plan_store(run, inputs, content)
    WeekPlan.objects.filter(pk=week.pk).update(state=WeekState.TAKEN_OVER, taken_over_at=now)
    event_record(kind="week.taken_over", subject=week, actor=actor, data={"days": week.days})


def _days(week: WeekPlan) -> tuple[date, ...]:
    return tuple(date.fromisoformat(day) for day in week.days)


def _end(week_id: int, state: str, text: str) -> None:
    WeekPlan.objects.filter(pk=week_id, state__in=WORKING).update(
        state=state, finished_at=clock.now(), problem_text=text
    )
