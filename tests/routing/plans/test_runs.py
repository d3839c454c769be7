"""Runs: what happens when somebody else is quicker, the solver fails, or the process dies."""

import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps

from jobs.work.models import Job, JobWindow
from routing.plans import services, tasks
from routing.plans.errors import AlreadyPlanning, NotDecided, PlanningFailed
from routing.plans.models import DayPlan, PlanRun
from routing.plans.services import runs
from routing.solver import Plan, Problem, RoundLimit, SolverKilled, child, solve
from shared.background.models import Schedule
from shared.background.registry import task_named
from shared.errors import Refused, Stale
from tests import factories
from tests.routing.plans.conftest import nothing_decided

pytestmark = pytest.mark.django_db
Solve = Callable[..., Plan]


@pytest.fixture
def crew(whole_day: dict[str, Any]) -> Any:
    crew = factories.make_crew()
    factories.make_job(windows=[whole_day])
    factories.make_job(windows=[whole_day])
    return crew


@pytest.fixture
def meanwhile(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[[], object]], None]:
    """`meanwhile(action)`: what somebody else does while the solver works."""

    def install(action: Callable[[], object]) -> None:
        def busy(problem: Problem, **kwargs: Any) -> Plan:
            action()
            return solve(problem, stop=RoundLimit(0))

        monkeypatch.setattr(runs, "solve_in_child", busy)

    return install


def plan_it(crew: Any, day: date, morning: datetime) -> DayPlan:
    return services.day_plan_make(yard=crew.yard, work_date=day, seconds=1, now=morning)


def test_somebody_changes_the_plan_meanwhile(crew: Any, day: date, morning: datetime, meanwhile: Any) -> None:
    """Their change is kept, ours is not stored, the run says why."""
    plan = factories.make_day_plan(yard=crew.yard, jobs=[1])
    job = plan.routes.get().stops.first().job_id
    meanwhile(lambda: services.stop_take_out(plan_id=plan.pk, job_id=job, expected_version=1))
    with pytest.raises(Stale, match="change was kept"):
        plan_it(crew, day, morning)
    after = DayPlan.objects.get()
    assert after.version == 2
    assert after.left_out.get(job=job).reason == "taken_out"
    run = PlanRun.objects.get()
    assert run.state == "failed"
    assert "change was kept" in run.problem_text


def test_somebody_makes_the_first_plan_meanwhile(crew: Any, day: date, morning: datetime, meanwhile: Any) -> None:
    """Two first plans of one day: the second is refused, the first stays."""
    meanwhile(lambda: factories.make_day_plan(yard=crew.yard, jobs=[1]))
    with pytest.raises(Stale):
        plan_it(crew, day, morning)
    assert DayPlan.objects.get().version == 1


def test_a_job_is_called_off_meanwhile(crew: Any, day: date, morning: datetime, meanwhile: Any) -> None:
    """The plan would send a crew for nothing, so it is not stored; the words name the job."""
    job = factories.make_job(windows=[{"first_date": day, "last_date": day}])
    meanwhile(lambda: type(job).objects.filter(pk=job.pk).update(state="called_off"))
    with pytest.raises(Stale, match=job.property.street):
        plan_it(crew, day, morning)
    assert not DayPlan.objects.exists()


def test_another_yard_takes_a_job_meanwhile(crew: Any, day: date, morning: datetime, meanwhile: Any) -> None:
    """One job is never on two plans of the same or of later days."""
    other = factories.make_crew()
    meanwhile(lambda: factories.make_day_plan(yard=other.yard, jobs=[1]))
    with pytest.raises(Stale):
        plan_it(crew, day, morning)
    assert [plan.yard for plan in DayPlan.objects.all()] == [other.yard]


def test_the_solver_is_killed(crew: Any, day: date, morning: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    """The old plan is untouched, the run failed in words."""
    plan = factories.make_day_plan(yard=crew.yard, jobs=[1])
    before = (plan.version, plan.plan)

    def killed(problem: Problem, **kwargs: Any) -> Plan:
        raise SolverKilled("stopped at its limit")

    monkeypatch.setattr(runs, "solve_in_child", killed)
    with pytest.raises(PlanningFailed, match="stopped at its limit"):
        plan_it(crew, day, morning)
    after = DayPlan.objects.get()
    assert (after.version, after.plan) == before
    assert PlanRun.objects.get().state == "failed"


def test_a_child_that_is_killed(crew: Any, day: date, morning: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same with a real process, killed as soon as it runs."""
    plan = factories.make_day_plan(yard=crew.yard, jobs=[1])

    class Killed(subprocess.Popen):  # type: ignore[type-arg]
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self.kill()

    monkeypatch.setattr(child.subprocess, "Popen", Killed)
    with pytest.raises(PlanningFailed):
        plan_it(crew, day, morning)
    assert (DayPlan.objects.get().version, DayPlan.objects.get().plan) == (1, plan.plan)
    run = PlanRun.objects.get()
    assert (run.state, run.problem_text.startswith("The solver ended without a plan")) == ("failed", True)


def test_figures_that_no_day_can_have(crew: Any, day: date, morning: datetime) -> None:
    """A line of two million minutes: the message names the job, the solver is not even started."""
    job = factories.make_job(windows=[{"first_date": day, "last_date": day}], lines=[{"estimated_minutes": 2_000_000}])
    with pytest.raises(Refused, match=f"Job {job.pk}, {job.property.street}, on_site_minutes: must be from 0"):
        plan_it(crew, day, morning)
    assert PlanRun.objects.get().state == "failed"


def test_a_shorter_search_does_not_make_the_day_worse(
    crew: Any, day: date, morning: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A solver that finds nothing this time: the routes of before stay, with the bound that was proven for them."""
    plan = factories.make_day_plan(yard=crew.yard, jobs=[1])

    def lazy(problem: Problem, **kwargs: Any) -> Plan:
        nothing = problem.replace(crews=tuple(replace(crew, shift=(0, 0)) for crew in problem.crews))
        return replace(solve(nothing, stop=RoundLimit(0)), upper_bound_cents=10.0**9, gap=1.0, status="feasible")

    monkeypatch.setattr(runs, "solve_in_child", lazy)
    again = plan_it(crew, day, morning)
    assert (again.version, again.value_cents) == (2, plan.value_cents)
    assert again.plan["routes"] == plan.plan["routes"]
    assert again.upper_bound_cents == plan.upper_bound_cents
    assert again.plan["solver"]["routes_of_before"] is True


def test_a_plan_with_a_fault_is_never_stored(
    crew: Any, day: date, morning: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A solver that reports a better value than its routes have is caught by the evaluator."""

    def boasting(problem: Problem, **kwargs: Any) -> Plan:
        plan = solve(problem, stop=RoundLimit(0))
        return replace(plan, value_cents=plan.value_cents + 100)

    monkeypatch.setattr(runs, "solve_in_child", boasting)
    with pytest.raises(PlanningFailed, match="did not pass"):
        plan_it(crew, day, morning)
    assert not DayPlan.objects.exists()
    assert PlanRun.objects.get().state == "failed"


def test_an_unexpected_error_ends_the_run(
    crew: Any, day: date, morning: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever it is, no run stays under way, and the error goes on to the log."""

    def broken(problem: Problem, **kwargs: Any) -> Plan:
        raise ZeroDivisionError

    monkeypatch.setattr(runs, "solve_in_child", broken)
    with pytest.raises(ZeroDivisionError):
        plan_it(crew, day, morning)
    assert PlanRun.objects.get().state == "failed"


def test_promises_that_were_not_decided_in_time(
    crew: Any, day: date, morning: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither a plan that keeps them nor a proof that there is none: nothing is stored, and the words name the job."""
    JobWindow.objects.update(promised=True)
    monkeypatch.setattr(runs, "solve_in_child", nothing_decided)
    with pytest.raises(NotDecided, match="Not decided in time whether all promises can be kept") as refused:
        plan_it(crew, day, morning)
    for job in Job.objects.all():
        assert f"job {job.pk}, {job.property.street}" in refused.value.message
    assert not DayPlan.objects.exists()
    run = PlanRun.objects.get()
    assert (run.state, run.problem_text) == ("failed", refused.value.message)


def test_the_routes_of_before_stand_where_they_keep_the_promises(
    crew: Any, day: date, morning: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A search that decided nothing: the stored routes keep every promise, so they are a plan."""
    JobWindow.objects.update(promised=True)
    plan = factories.make_day_plan(yard=crew.yard, jobs=[1, 2])
    monkeypatch.setattr(runs, "solve_in_child", nothing_decided)
    again = plan_it(crew, day, morning)
    assert (again.version, again.plan["status"]) == (2, "feasible")
    assert again.plan["routes"] == plan.plan["routes"]
    assert "reasons" not in again.plan


def make_run(crew: Any, day: date, created: datetime, **over: Any) -> PlanRun:
    fields = {"seconds_allowed": 10, "created_at": created, **over}
    return PlanRun.objects.create(yard=crew.yard, work_date=day, **fields)


@pytest.mark.parametrize(
    ("state", "seconds", "dies"),
    [
        ("running", 69, False),
        ("running", 71, True),
        ("waiting", 71, False),
        ("waiting", 901, True),
        ("done", 999, False),
    ],
)
def test_dead_runs_are_reaped(crew: Any, day: date, morning: datetime, state: str, seconds: int, dies: bool) -> None:
    """Past 10 s and a minute of grace a run's process must have ended; a waiting one has a quarter of an hour."""
    started = morning if state != "waiting" else None
    run = make_run(crew, day, morning, state=state, started_at=started)
    services.plan_runs_reap(now=morning + timedelta(seconds=seconds))
    run.refresh_from_db()
    assert run.state == ("failed" if dies else state)
    assert ("ended" in run.problem_text) == dies


def test_a_run_that_was_given_up_stores_nothing(crew: Any, day: date, morning: datetime, meanwhile: Any) -> None:
    """It came back after the reaper: too late."""
    meanwhile(lambda: PlanRun.objects.update(state="failed"))
    with pytest.raises(Stale, match="given up"):
        plan_it(crew, day, morning)
    assert not DayPlan.objects.exists()


def test_one_run_at_a_time(crew: Any, day: date, morning: datetime) -> None:
    """A second click is refused while the first run is unfinished; a dead run does not block the day."""
    make_run(crew, day, morning)
    with pytest.raises(AlreadyPlanning):
        services.plan_run_request(yard=crew.yard, work_date=day, seconds=1, now=morning)
    services.plan_run_request(yard=crew.yard, work_date=day, seconds=1, now=morning + timedelta(hours=1))
    assert sorted(PlanRun.objects.values_list("state", flat=True)) == ["failed", "waiting"]


@pytest.mark.usefixtures("solve_here")
def test_in_the_background(crew: Any, day: date, morning: datetime, django_capture_on_commit_callbacks: Any) -> None:
    """Asked for, committed, carried out; a task that comes twice finds nothing to do."""
    with django_capture_on_commit_callbacks(execute=True):
        run = services.plan_run_request(yard=crew.yard, work_date=day, seconds=1, now=morning)
    run.refresh_from_db()
    assert run.state == "done"
    tasks.make_day_plan(run_id=run.pk)
    assert DayPlan.objects.get().version == 1


def test_a_task_that_cannot_plan_ends_quietly(day: date, morning: datetime, whole_day: dict[str, Any]) -> None:
    """What went wrong is on the run, not in the worker's traceback."""
    crew = factories.make_crew()
    run = make_run(crew, day, morning)
    tasks.make_day_plan(run_id=run.pk)
    run.refresh_from_db()
    assert (run.state, run.problem_text) == ("failed", "No agreed job may be done on 2026-06-03.")


def test_progress_is_on_the_run(crew: Any, day: date, morning: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    """Value and bound of the best plan so far can be read while the solver works."""
    seen = []

    def slow(problem: Problem, *, on_progress: Callable[[Plan], None], **kwargs: Any) -> Plan:
        plan = solve(problem, stop=RoundLimit(0))
        on_progress(plan)
        run = PlanRun.objects.get()
        seen.append((run.state, run.value_cents, run.upper_bound_cents))
        return plan

    monkeypatch.setattr(runs, "solve_in_child", slow)
    plan = plan_it(crew, day, morning)
    assert seen == [("running", plan.value_cents, plan.upper_bound_cents)]


def test_the_clock_starts_the_reaper(db: None) -> None:
    """The migration makes the schedule's row, once, and it names a task that exists."""
    migration = import_module("routing.plans.migrations.0003_schedule")
    migration.add(apps, None)
    migration.add(apps, None)
    assert Schedule.objects.filter(task="plans.reap_runs", is_on=True).count() == 1
    assert task_named("plans.reap_runs") is tasks.reap_runs
