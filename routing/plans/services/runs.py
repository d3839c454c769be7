"""Planning a day: ask for it, do it, and clean up after a process that died.

Nothing is locked while the solver works. What was read is named by the plan's version; if somebody changed the plan
meanwhile, their change stays and the run says so.
"""

import re
import time
from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.translation import gettext as _

from jobs.work.models import Job
from routing.plans.choices import FIRST_DAY, LAST_DAY, LeftOutReason, PlanObjective, PlanState, RunState
from routing.plans.domain.changes import StoredPlan, better_of
from routing.plans.domain.keys import job_id_of, job_key
from routing.plans.errors import AlreadyPlanning, NotDecided, NothingToPlan, PlanningFailed
from routing.plans.models import DayPlan, PlanRun, WeekPlan, Yard
from routing.plans.selectors.days import day_plan_by_id
from routing.plans.selectors.inputs import OPEN_STATES, DayInputs, day_problem, jobs_in_other_plans
from routing.plans.selectors.labels import in_words, job_labels
from routing.plans.services.storing import plan_rows_replace
from routing.solver import (
    MalformedProblem,
    Plan,
    Problem,
    evaluate,
    parse_plan,
    parse_problem,
    plan_to_json,
    problem_to_json,
    solve_in_child,
)
from routing.solver.child import SolverFailed
from shared import clock
from shared.background.services import enqueue
from shared.errors import Refused, Stale, WalldayError
from shared.events.services import event_record

TASK = "plans.make_day_plan"
GRACE_SECONDS = 60  # reading, storing, and the solver's own grace
QUEUE_SECONDS = 900  # how long a run may wait for its turn
PROGRESS_SECONDS = 0.5  # least time between two progress rows
UNFINISHED = (RunState.WAITING, RunState.RUNNING)


def plan_run_request(
    *,
    yard: Yard,
    work_date: date,
    seconds: int,
    seed: int = 1,
    objective: str = PlanObjective.VALUE,
    actor: Any = None,
    now: datetime | None = None,
) -> PlanRun:
    """Have the day planned in the background. Raises AlreadyPlanning while another run for the day is unfinished."""
    moment = now or clock.now()
    plan_runs_reap(now=moment)
    with transaction.atomic():
        if PlanRun.objects.filter(yard=yard, work_date=work_date, state__in=UNFINISHED).exists():
            raise AlreadyPlanning(_("This day is being planned already."))
        run = run_create(
            yard=yard,
            work_date=work_date,
            seconds_allowed=seconds,
            seed=seed,
            objective=objective,
            requested_by=actor,
            created_at=moment,
        )
        enqueue(TASK, run_id=run.pk)
    return run


def day_plan_make(
    *,
    yard: Yard,
    work_date: date,
    seconds: int,
    seed: int = 1,
    objective: str = PlanObjective.VALUE,
    actor: Any = None,
    now: datetime | None = None,
) -> DayPlan:
    """Plan the day now, in this process, and give the stored plan.

    Raises NothingToPlan, Stale (somebody changed the plan meanwhile), NotDecided (whether all promises can be kept) or
    PlanningFailed; the run's row says why.
    """
    run = run_create(
        yard=yard,
        work_date=work_date,
        seconds_allowed=seconds,
        seed=seed,
        objective=objective,
        requested_by=actor,
        created_at=now or clock.now(),
    )
    plan = plan_run_execute(run_id=run.pk, now=now)
    assert plan is not None
    return plan


def plan_run_execute(*, run_id: int, now: datetime | None = None) -> DayPlan | None:
    """Carry out a waiting run; None where it is not waiting any more. The row is finished whatever happens."""
    moment = now or clock.now()
    waiting = PlanRun.objects.filter(pk=run_id, state=RunState.WAITING)
    if not waiting.update(state=RunState.RUNNING, started_at=moment):
        return None
    run = PlanRun.objects.select_related("yard", "requested_by").get(pk=run_id)
    try:
        return _execute(run, moment)
    except WalldayError as error:
        run_fail(run_id, error.message)
        raise
    except BaseException:
        run_fail(run_id, _("Planning ended with an error; the plan of before is unchanged."))
        raise


def plan_runs_reap(*, now: datetime) -> int:
    """Mark runs as failed whose process must have ended: past their limit and grace, or never begun."""
    died = []
    for run in PlanRun.objects.filter(state__in=UNFINISHED).order_by("pk"):
        allowed = QUEUE_SECONDS if run.started_at is None else run.seconds_allowed + GRACE_SECONDS
        if (run.started_at or run.created_at) + timedelta(seconds=allowed) < now:
            died.append(run.pk)
    return PlanRun.objects.filter(pk__in=died, state__in=UNFINISHED).update(
        state=RunState.FAILED,
        finished_at=now,
        problem_text=_("The process that worked on it has ended; the plan of before is unchanged."),
    )


def run_create(*, work_date: date, **fields: Any) -> PlanRun:
    if not FIRST_DAY <= work_date <= LAST_DAY:
        raise Refused(
            _("Only days from %(first)s to %(last)s can be planned.") % {"first": FIRST_DAY, "last": LAST_DAY}
        )
    run = PlanRun(work_date=work_date, **fields)
    run.full_clean()
    run.save()
    return run


def _execute(run: PlanRun, moment: datetime) -> DayPlan:
    inputs = day_problem(yard=run.yard, work_date=run.work_date, now=moment)
    PlanRun.objects.filter(pk=run.pk).update(inputs_digest=inputs.digest)
    _refuse_nothing(inputs)
    refuse_out_of_bounds(inputs)
    content = _solve(inputs, run)
    if run.objective == PlanObjective.VALUE:
        content = better_of(inputs.problem, content, _stored_before(inputs))
    return plan_store(run, inputs, checked(inputs, content))


def checked(inputs: DayInputs, content: Plan) -> Plan:
    """The plan, if the evaluator finds no fault with it, and promises that it breaks are proved to clash.

    Raises PlanningFailed, NotDecided.
    """
    verdict = evaluate(inputs.problem, content)
    if verdict.faults:
        raise PlanningFailed(_("The plan did not pass its check: %(faults)s") % {"faults": "; ".join(verdict.faults)})
    if content.status == "undecided":
        why = in_words(content.reasons, yard=inputs.yard, work_date=inputs.work_date)
        raise NotDecided(
            _("%(why)s. Nothing was stored, what was in force stays so. Ask again, with more seconds where you can.")
            % {"why": "; ".join(why)}
        )
    return content


def _stored_before(inputs: DayInputs) -> StoredPlan | None:
    """The plan that the new one would replace, as the solver's data."""
    row = DayPlan.objects.filter(yard=inputs.yard, work_date=inputs.work_date, version=inputs.seen_version).first()
    return None if row is None else StoredPlan(parse_plan(row.plan), same_inputs=row.inputs_digest == inputs.digest)


def _refuse_nothing(inputs: DayInputs) -> None:
    """Raises NothingToPlan in words; promises that fall with it are named."""
    day = inputs.work_date.isoformat()
    if not inputs.problem.crews:
        text = _("No crew of %(yard)s is on shift on %(day)s.") % {"yard": inputs.yard.name, "day": day}
        if inputs.promised:
            labels = job_labels(inputs.promised)
            text += " " + _("Promised for that day: %(jobs)s.") % {"jobs": "; ".join(labels.values())}
        raise NothingToPlan(text)
    if not inputs.problem.jobs:
        raise NothingToPlan(_("No agreed job may be done on %(day)s.") % {"day": day})


def refuse_out_of_bounds(inputs: DayInputs) -> None:
    """Figures that no day can have, such as a job of a million hours. Raises Refused with the job or crew."""
    try:
        parse_problem(problem_to_json(inputs.problem))
    except MalformedProblem as error:
        faults = (f"{_owner(inputs.problem, fault.path)}: {fault.message}" for fault in error.faults)
        words = in_words(faults, yard=inputs.yard, work_date=inputs.work_date)
        raise Refused(_("These figures cannot be planned. %(faults)s") % {"faults": "; ".join(words)}) from error


def _owner(problem: Problem, path: str) -> str:
    """The job or crew that a JSON path such as `$.jobs[3].gain_cents` points at, and the field."""
    match = re.match(r"\$\.(jobs|crews)\[(\d+)\]\.(\w+)", path)
    if match is None:
        return path
    number, field = int(match[2]), match[3]
    owner = problem.jobs[number].id if match[1] == "jobs" else f"crew {problem.crews[number].id}"
    return f"{owner}, {field}"


def _solve(inputs: DayInputs, run: PlanRun) -> Plan:
    try:
        return solve_in_child(
            inputs.problem,
            seconds=run.seconds_allowed,
            seed=run.seed,
            objective="ratio" if run.objective == PlanObjective.RATIO else "value",
            on_progress=progress_of(PlanRun, run.pk),
        )
    except SolverFailed as error:
        raise PlanningFailed(_("The solver ended without a plan: %(why)s.") % {"why": str(error)}) from error


def progress_of(rows: type[PlanRun] | type[WeekPlan], row_id: int) -> Callable[[Plan], None]:
    """Writes value and bound of the best plan so far to the row of a run, twice a second at most."""
    last = float("-inf")

    def write(plan: Plan) -> None:
        nonlocal last
        if time.monotonic() - last < PROGRESS_SECONDS:
            return
        last = time.monotonic()
        rows.objects.filter(pk=row_id, state=RunState.RUNNING).update(
            value_cents=plan.value_cents, upper_bound_cents=plan.upper_bound_cents
        )

    return write


def _as_json(inputs: DayInputs, content: Plan) -> dict[str, Any]:
    """day-plan/1 with its reasons as people say them, and a note on what a person took out."""
    data = plan_to_json(content)
    if content.reasons:
        data["reasons"] = in_words(content.reasons, yard=inputs.yard, work_date=inputs.work_date)
    by_hand = {job_key(job_id) for job_id in inputs.taken_out}
    for entry in data["left_out"]:
        if entry["job"] in by_hand:
            entry["note"] = LeftOutReason.TAKEN_OUT.value
    return data


def plan_store(run: PlanRun, inputs: DayInputs, content: Plan) -> DayPlan:
    data = _as_json(inputs, content)
    now = clock.now()
    with transaction.atomic():
        _refuse_changed_jobs(inputs, content)
        if not PlanRun.objects.filter(pk=run.pk, state=RunState.RUNNING).update(
            state=RunState.DONE,
            finished_at=now,
            value_cents=content.value_cents,
            upper_bound_cents=content.upper_bound_cents,
        ):
            raise Stale(_("This planning run was given up; its plan was not stored."))
        plan = _plan_row(inputs, data, content, now)
        plan_rows_replace(
            plan=plan,
            problem=inputs.problem,
            content=content,
            taken_out=inputs.taken_out,
            set_aside=inputs.set_aside,
        )
        event_record(
            kind="plan.made",
            subject=plan,
            actor=run.requested_by,
            data={"version": plan.version, "run": run.pk, "value_cents": content.value_cents},
        )
    return day_plan_by_id(plan_id=plan.pk)


def _refuse_changed_jobs(inputs: DayInputs, content: Plan) -> None:
    """A job of the plan may have been called off, or taken by another plan, while the solver worked. Raises Stale."""
    begun = {job for jobs in inputs.problem.fixed.values() for job in jobs}
    keys = {stop.job for route in content.routes for stop in route.stops}
    ids = [job_id_of(key) for key in keys]
    open_now = set(
        Job.objects.select_for_update().filter(pk__in=ids, state__in=OPEN_STATES).values_list("pk", flat=True)
    )
    gone = {job_id_of(key) for key in keys - begun} - open_now
    gone |= set(jobs_in_other_plans(ids, yard=inputs.yard, days={inputs.work_date, *inputs.week}, today=inputs.today))
    if gone:
        labels = "; ".join(job_labels(gone).values())
        raise Stale(_("Meanwhile this changed: %(jobs)s. Plan the day again.") % {"jobs": labels})


def _plan_row(inputs: DayInputs, data: dict[str, Any], content: Plan, now: datetime) -> DayPlan:
    """Make the plan's row, or give it its next version. Raises Stale where it changed since it was read."""
    fields = {
        "problem": problem_to_json(inputs.problem),
        "plan": data,
        "inputs_digest": inputs.digest,
        "value_cents": content.value_cents,
        "upper_bound_cents": content.upper_bound_cents,
        "drive_source": inputs.drive_source,
        "notices": list(inputs.notices),
        "solved_at": now,
        "changed_at": now,
    }
    stale = Stale(_("Somebody changed this plan while it was being made. Their change was kept; plan again."))
    key = {"yard": inputs.yard, "work_date": inputs.work_date}
    if inputs.seen_version == 0:
        try:
            with transaction.atomic():
                return DayPlan.objects.create(**key, **fields)
        except IntegrityError as error:
            raise stale from error
    seen = DayPlan.objects.filter(**key, version=inputs.seen_version)
    state = _state_after(seen.first(), data)
    if not seen.update(**fields, state=state, version=F("version") + 1):
        raise stale
    return DayPlan.objects.get(**key)


def _state_after(before: DayPlan | None, data: dict[str, Any]) -> str:
    """A plan that was sent out and came out the same is still what the crews have."""
    if before is None or _as_crews_see(before.plan) == _as_crews_see(data):
        return before.state if before else PlanState.DRAFT
    return PlanState.DRAFT if before.state == PlanState.DRAFT else PlanState.CHANGED


def _as_crews_see(data: dict[str, Any]) -> list[tuple[Any, ...]]:
    return [(route["crew"], route["leave"], route["stops"]) for route in data["routes"]]


def run_fail(run_id: int, text: str) -> None:
    PlanRun.objects.filter(pk=run_id, state__in=UNFINISHED).update(
        state=RunState.FAILED, finished_at=clock.now(), problem_text=text
    )
