"""One loaded solver process that waits: for one user only, for a bounded time, and never longer than its parent."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from routing.solver import child, parse_problem, standby
from routing.solver.standby import Standby
from tests.routing.solver.days import four_stop_day

PROBLEM = parse_problem(four_stop_day())
BEST_CENTS = 16_500.0
LONG = 60.0
ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> "list[subprocess.Popen[str]]":
    """Every process that is started, in order."""
    found: list[subprocess.Popen[str]] = []
    start = child.start_process

    def noted(memory_bytes: int) -> "subprocess.Popen[str]":
        found.append(start(memory_bytes))
        return found[-1]

    monkeypatch.setattr(standby, "start_process", noted)
    return found


@pytest.fixture
def waiting(started: "list[subprocess.Popen[str]]") -> Iterator[Standby]:
    one = Standby()
    yield one
    one.end()
    assert all(process.returncode is not None for process in started)


def test_it_is_used_once_and_replaced(waiting: Standby, started: "list[subprocess.Popen[str]]") -> None:
    """The one that waited answers and is gone; another one waits."""
    waiting.keep_ready()
    waiting.keep_ready()
    assert len(started) == 1
    with waiting.process() as solver:
        assert solver.solve(PROBLEM, seconds=LONG).value_cents == BEST_CENTS
        assert len(started) == 1
    first, second = started
    assert first.returncode == -signal.SIGKILL
    assert second.poll() is None


def test_two_users_never_share_one(waiting: Standby, started: "list[subprocess.Popen[str]]") -> None:
    """Who comes while it is in use gets a process of their own; only one waits afterwards."""
    waiting.keep_ready()
    with waiting.process() as one, waiting.process() as other:
        assert one._child is not other._child
    assert sum(process.poll() is None for process in started) == 1


def test_a_process_that_died_while_it_waited_is_not_handed_out(
    waiting: Standby, started: "list[subprocess.Popen[str]]"
) -> None:
    waiting.keep_ready()
    started[0].kill()
    started[0].wait()
    with waiting.process() as solver:
        assert solver.solve(PROBLEM, seconds=LONG).value_cents == BEST_CENTS


def test_it_ends_when_nobody_calls_for_it(started: "list[subprocess.Popen[str]]") -> None:
    idle = Standby(idle_seconds=0.05)
    idle.keep_ready()
    assert started[0].wait(LONG) == -signal.SIGKILL


PARENT = """
import os, sys, time
from contextlib import ExitStack
from routing.solver import solver_process, standby
used, how = sys.argv[1:]
held = ExitStack()
if used == "waiting":
    standby.keep_ready()
    solver = standby._standby._waiting
else:
    of = standby.ready_process if used == "taken" else solver_process
    solver = held.enter_context(of())._child
forked = os.fork() if how == "forks" else None
if forked == 0:
    assert standby._standby._waiting is None
    time.sleep(60)
    os._exit(0)
print(solver.pid, forked or 0, flush=True)
time.sleep(60)
"""


@pytest.mark.parametrize("used", ["waiting", "taken", "of its own"])
@pytest.mark.parametrize("how", ["alone", "forks"])
@pytest.mark.parametrize("ended_by", [signal.SIGKILL, signal.SIGTERM])
def test_it_ends_with_its_parent(used: str, how: str, ended_by: signal.Signals) -> None:
    """Waiting or in use, even where a forked copy of the parent, which had inherited the pipes, lives on."""
    command = [sys.executable, "-c", PARENT, used, how]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout
        pid, forked = map(int, parent.stdout.readline().split())
        os.kill(parent.pid, ended_by)
        try:
            parent.wait(LONG)
            assert ended_within(pid, LONG / 2)
        finally:
            if forked:
                os.kill(forked, signal.SIGKILL)


UNWINDS = """
import os
from routing.solver import parse_problem, solver_process
from tests.routing.solver.days import four_stop_day
with solver_process() as solver:
    pipe = solver._child.stdin
    copy = os.fork()
    if copy:
        assert os.waitpid(copy, 0) == (copy, 0)
        print(solver.solve(parse_problem(four_stop_day()), seconds=60).value_cents)
    else:
        pipe.write("nonsense")
        pipe.flush()
if not copy:
    os._exit(0)
"""


def test_a_copy_neither_talks_to_it_nor_ends_it() -> None:
    """A forked copy writes half a line and leaves the block of a solver in use: the parent gets its answer all the
    same."""
    done = subprocess.run(
        [sys.executable, "-c", UNWINDS], cwd=ROOT, capture_output=True, text=True, timeout=LONG, check=False
    )
    assert (done.returncode, done.stdout.strip()) == (0, str(BEST_CENTS)), done.stderr


def ended_within(pid: int, seconds: float) -> bool:
    until = time.monotonic() + seconds
    while is_running(pid):
        if time.monotonic() > until:
            return False
        time.sleep(0.05)
    return True


def is_running(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] not in "ZX"
    except FileNotFoundError:
        return False
