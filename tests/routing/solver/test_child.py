"""The solver in a process of its own: limits that hold, and the last good plan whatever happens to the child."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from routing.solver import (
    Plan,
    SolverFailed,
    SolverKilled,
    child,
    evaluate,
    parse_problem,
    solve_in_child,
    solver_process,
)
from tests.routing.solver.days import four_stop_day

PROBLEM = parse_problem(four_stop_day())
BEST_CENTS = 16_500.0
LONG = 60.0  # nothing here takes as long: the limits that are tested are shorter


class Interrupted(Exception):
    pass


@pytest.fixture
def children(monkeypatch: pytest.MonkeyPatch) -> "list[subprocess.Popen[str]]":
    """Every child that is started, in order."""
    started: list[subprocess.Popen[str]] = []

    class Noted(subprocess.Popen):  # type: ignore[type-arg]
        def __init__(self, *args: object, **kwargs: object) -> None:
            super().__init__(*args, **kwargs)  # type: ignore[call-overload]
            started.append(self)

    monkeypatch.setattr(child.subprocess, "Popen", Noted)
    return started


def test_one_child_solves_one_problem_after_another(children: "list[subprocess.Popen[str]]") -> None:
    """Each gets its own answer; at the end of the block the child is gone."""
    less = PROBLEM.replace(jobs=PROBLEM.jobs[:1])
    with solver_process() as solver:
        first, second = solver.solve(PROBLEM, seconds=LONG), solver.solve(less, seconds=LONG)
        assert children[0].poll() is None
    assert (first.status, first.value_cents) == ("optimal", BEST_CENTS)
    assert {route.job_ids for route in second.routes} == {("J1",)}
    assert evaluate(less, second).faults == ()
    assert len(children) == 1
    assert children[0].returncode is not None


@pytest.mark.parametrize("stopped_by", [signal.SIGKILL, signal.SIGSTOP])
def test_the_last_good_plan_outlives_the_child(
    children: "list[subprocess.Popen[str]]", stopped_by: signal.Signals
) -> None:
    """Killed from outside, or hanging past its limit: its first plan is what we have, and it says how it ended."""
    told: list[Plan] = []

    def stop(plan: Plan) -> None:
        if not told:
            os.kill(children[0].pid, stopped_by)
        told.append(plan)

    limits = (LONG, LONG) if stopped_by == signal.SIGKILL else (0.5, 0.5)
    plan = solve_in_child(PROBLEM, seconds=limits[0], grace_seconds=limits[1], on_progress=stop)
    assert evaluate(PROBLEM, plan).faults == ()
    assert plan.solver["ended"] == ("failed" if stopped_by == signal.SIGKILL else "killed")
    assert plan.value_cents == told[-1].value_cents
    assert children[0].returncode == -signal.SIGKILL


def test_a_child_that_says_nothing_is_killed_at_its_limit(children: "list[subprocess.Popen[str]]") -> None:
    with solver_process() as solver:
        os.kill(children[0].pid, signal.SIGSTOP)
        with pytest.raises(SolverKilled):
            solver.solve(PROBLEM, seconds=0.01, grace_seconds=0.01)
        with pytest.raises(SolverKilled):
            solver.solve(PROBLEM, seconds=LONG)
    assert children[0].returncode == -signal.SIGKILL


def test_a_child_that_fails_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its last words on standard error are in the message."""
    monkeypatch.setattr(child.sys, "executable", "/bin/false")
    with pytest.raises(SolverFailed, match="code 1"):
        solve_in_child(PROBLEM, seconds=LONG)


def test_too_little_memory_is_said(children: "list[subprocess.Popen[str]]") -> None:
    """A limit that holds the interpreter but not the solver."""
    with pytest.raises(SolverFailed):
        solve_in_child(PROBLEM, seconds=LONG, memory_bytes=64 * 1024**2)
    assert children[0].returncode is not None


def test_an_error_of_the_listener_ends_the_child(children: "list[subprocess.Popen[str]]") -> None:
    def interrupt(plan: Plan) -> None:
        raise Interrupted

    with pytest.raises(Interrupted):
        solve_in_child(PROBLEM, seconds=LONG, on_progress=interrupt)
    assert children[0].returncode == -signal.SIGKILL


def test_the_child_ends_with_its_parent(tmp_path: Path) -> None:
    """A parent that is killed in the middle of a search leaves no process behind that works on for nobody."""
    note = tmp_path / "pid"
    code = f"""
import os, time
from routing.solver import solver_process, parse_problem
from tests.benchmarks.solver_days import DayKind, realistic_day
with solver_process() as solver:
    def started(plan):
        open({str(note)!r}, "w").write(str(solver._child.pid))
    problem = parse_problem(realistic_day(DayKind("60 x 4", 60, 4, 14, dense=True)))
    solver.solve(problem, seconds=600, on_progress=started)
"""
    parent = subprocess.Popen([sys.executable, "-c", code], cwd=Path(__file__).resolve().parents[3])
    pid = _waited(lambda: int(note.read_text()) if note.exists() and note.read_text() else None)
    parent.kill()
    parent.wait()
    assert _waited(lambda: None if _is_running(pid) else True)


def _is_running(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] not in "ZX"
    except FileNotFoundError:
        return False


def _waited(look: "object", seconds: float = 60.0) -> int:
    """What `look` gives as soon as it is not None."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if (found := look()) is not None:  # type: ignore[operator]
            return int(found)
        time.sleep(0.05)
    raise AssertionError("waited in vain")
