"""A crew drops out or starts late: its hours change, and the rest of the day is planned again at once."""

from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from routing.plans.choices import CrewNews, PlanState, RunState
from routing.plans.domain.changes import StoredPlan, better_of, orders_of
from routing.plans.domain.replans import in_the_open, least_disruptive, with_times_held
from routing.plans.errors import AlreadyPlanning, PlanningFailed
from routing.plans.models import Crew, DayPlan, PlanRun
from routing.plans.selectors.days import day_plan_by_id
from routing.plans.selectors.hours import MINUTES_OF_A_CLOCK
from routing.plans.selectors.inputs import DayInputs, day_problem
from routing.plans.selectors.moves import told_stops
from routing.plans.selectors.shifts import shifts_between
from routing.plans.services.crews import shift_exception_set
from routing.plans.services.runs import (
    UNFINISHED,
    checked,
    plan_store,
    refuse_out_of_bounds,
    run_create,
    run_fail,
)
from routing.roads.services import ServerUse
from routing.solver import (
    Plan,
    Problem,
    RoundLimit,
    SolverFailed,
    SolverKilled,
    SolverProcess,
    TimeLimit,
    keep_ready,
    parse_plan,
    ready_process,
    solve,
)
from routing.solver.stopping import LEAST_SECONDS, Watch
from shared import clock
from shared.errors import NotFound, Refused, Stale, WalldayError

REPLAN_SECONDS = 2  # from the request to the stored plan
STORING_SECONDS = 0.4  # of these, for checking and storing
SERVER_SECONDS = 0.5  # and for a routing server, which holds up everybody who writes meanwhile
ANSWER_SECONDS = 0.1  # and for the solver's last words, after which it is stopped


@dataclass(frozen=True, slots=True)
class News:
    """What happened to a crew: it drops out at, or starts only at, an hour of the clock."""

    crew_code: str
    kind: str
    at: time
    reason: str = ""


def replan_get_ready(*, plan: DayPlan, now: datetime) -> None:
    """Have a solver loaded where this plan may soon be made again: the crews have it, and it is their day."""
    is_under_way = plan.work_date == clock.local_date(plan.yard.timezone, now)
    if is_under_way and plan.state != PlanState.DRAFT:
        with suppress(OSError):  # without one a replan starts its own
            keep_ready()


def day_replan(
    *, plan_id: int, news: News, expected_version: int, actor: Any = None, now: datetime | None = None
) -> DayPlan:
    """Change the crew's hours of that day and plan what has not begun again. Both are stored together or not at all.

    What is done or under way stays where it is: a crew that drops out still ends the stop that it is at. Customers
    keep the crew and the time that they were told where it costs little (`domain.replans`). The solver's process
    waits loaded, or loads while the day is read where none does. It searches until STORING_SECONDS before
    REPLAN_SECONDS are over.
    Raises NotFound, Stale, AlreadyPlanning, Refused (an hour outside the shift; figures that no day can have),
    NotDecided (whether all promises can be kept) and PlanningFailed.
    """
    watch = TimeLimit(REPLAN_SECONDS - STORING_SECONDS).started()
    moment = now or clock.now()
    row = day_plan_by_id(plan_id=plan_id)
    if row.version != expected_version:
        raise Stale(_("Somebody changed this plan meanwhile. Look at it again, then repeat the change."))
    if PlanRun.objects.filter(yard=row.yard, work_date=row.work_date, state__in=UNFINISHED).exists():
        raise AlreadyPlanning(_("This day is being planned already."))
    with ready_process() as solver:
        inputs = _inputs(row, _crew(row, news), news, actor, moment)
        refuse_out_of_bounds(inputs)
        run = run_create(
            yard=row.yard,
            work_date=row.work_date,
            seconds_allowed=REPLAN_SECONDS,
            requested_by=actor,
            created_at=moment,
            started_at=moment,
            state=RunState.RUNNING,
            inputs_digest=inputs.digest,
        )
        try:
            content = checked(inputs, _best(row, inputs, solver, watch))
            with transaction.atomic():
                _set_hours(_crew(row, news), row, news, actor)
                return plan_store(run, inputs, content)
        except WalldayError as error:
            run_fail(run.pk, error.message)
            raise
        except BaseException:
            run_fail(run.pk, _("Planning ended with an error; the plan of before is unchanged."))
            raise


def _crew(row: DayPlan, news: News) -> Crew:
    crew = Crew.objects.filter(code=news.crew_code, yard=row.yard).first()
    if crew is None:
        raise NotFound(_("There is no crew %(crew)s in this yard.") % {"crew": news.crew_code})
    return crew


def _inputs(row: DayPlan, crew: Crew, news: News, actor: Any, moment: datetime) -> DayInputs:
    """The day as it would be with the crew's new hours; nothing stays changed, and nothing is locked afterwards."""
    with transaction.atomic():
        _set_hours(crew, row, news, actor)
        gone = crew.code if news.kind == CrewNews.DROPS_OUT else ""
        inputs = day_problem(
            yard=row.yard,
            work_date=row.work_date,
            now=moment,
            rest_of_day=True,
            gone=gone,
            server=ServerUse(seconds=SERVER_SECONDS),
        )
        transaction.set_rollback(True)
    return inputs


def _set_hours(crew: Crew, row: DayPlan, news: News, actor: Any) -> None:
    """Raises Refused where the crew does not work that day, or not at that hour."""
    shift = shifts_between(crews=[crew], first=row.work_date, last=row.work_date)[crew.pk, row.work_date]
    if shift.hours is None:
        raise Refused(_("Crew %(crew)s does not work on that day.") % {"crew": crew.name})
    minute = (news.at.hour * 60 + news.at.minute) % MINUTES_OF_A_CLOCK
    hours = {name: getattr(shift.hours, name) for name in ("start_minute", "end_minute")}
    is_off = False
    if news.kind == CrewNews.DROPS_OUT:
        if minute >= hours["end_minute"]:
            raise Refused(_("The shift of crew %(crew)s is over by then.") % {"crew": crew.name})
        is_off = minute <= hours["start_minute"]
        hours["end_minute"] = hours["end_minute"] if is_off else minute
    else:
        if not hours["start_minute"] <= minute < hours["end_minute"]:
            raise Refused(_("Crew %(crew)s does not work at that hour.") % {"crew": crew.name})
        hours["start_minute"] = minute
    shift_exception_set(crew=crew, work_date=row.work_date, is_off=is_off, hours=hours, reason=news.reason, actor=actor)


def _best(row: DayPlan, inputs: DayInputs, solver: SolverProcess, watch: Watch) -> Plan:
    """The least disruptive of three: all windows open, told times held, the routes of before where they still hold."""
    if not inputs.problem.crews:
        raise Refused(_("No crew is left on that day."))
    before = parse_plan(row.plan)
    told = told_stops(row) if row.state != PlanState.DRAFT else {}
    problems = [inputs.problem, with_times_held(inputs.problem, told)] if told else [inputs.problem]
    found: list[Plan] = []
    for left, problem in zip(range(len(problems), 0, -1), problems, strict=True):
        found.append(_solved(problem, before, solver, watch, left))
    kept = better_of(inputs.problem, found[0], StoredPlan(before, same_inputs=False))
    plans = [found[0], *(in_the_open(plan, found[0]) for plan in found[1:]), kept]
    return least_disruptive(plans, told)


def _solved(problem: Problem, before: Plan, solver: SolverProcess, watch: Watch, left: int) -> Plan:
    """The plan after a fair part of the time for the `left` problems; that of before, mended, where none came."""
    first = orders_of(before)
    seconds = max(LEAST_SECONDS, (watch.seconds_left() - ANSWER_SECONDS) / left)
    grace_seconds = max(0.0, watch.seconds_left() - seconds)
    try:
        return solver.solve(problem, seconds=seconds, grace_seconds=grace_seconds, first=first)
    except SolverKilled:
        return solve(problem, stop=RoundLimit(0), first=first)
    except SolverFailed as error:
        raise PlanningFailed(_("The solver ended without a plan: %(why)s.") % {"why": str(error)}) from error
