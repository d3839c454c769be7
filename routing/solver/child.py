"""Solving in a process of its own: a hard limit in time and memory, and nothing left half done.

The parent writes a problem, the child writes one JSON line for each better plan. Whatever happens to
the child, the last good line is a plan that keeps every rule. A plain `subprocess` works from threads,
from daemonic worker processes and from commands alike.

It ends with its parent, however that ends: its input closes (`worker`). A forked copy of the parent lets go of the
pipes at once, so that it neither talks to the child nor keeps it alive.

A child takes about a second to load compiled code. Who has something else to do meanwhile opens a
`solver_process` first; it solves one problem after another. Who cannot wait at all has one ready (`standby`).
"""

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any

from .params import Objective
from .plan import Plan
from .problem import Problem
from .reading import parse_plan
from .solve import Orders
from .stopping import TimeLimit
from .writing import plan_to_json, problem_to_json

GRACE_SECONDS = 5.0
MEMORY_VARIABLE = "WALLDAY_SOLVER_MEMORY_BYTES"
DEFAULT_MEMORY_BYTES = 2 * 1024**3


class SolverFailed(RuntimeError):
    """The child ended without any plan; the message says how."""


class SolverKilled(SolverFailed):
    """The child had to be stopped at its limit and had not reported any plan."""


def solve_in_child(problem: Problem, *, memory_bytes: int = DEFAULT_MEMORY_BYTES, **more: Any) -> Plan:
    """One problem in a child of its own; everything else as in `SolverProcess.solve`."""
    with solver_process(memory_bytes=memory_bytes) as child:
        return child.solve(problem, **more)


@contextmanager
def solver_process(*, memory_bytes: int = DEFAULT_MEMORY_BYTES) -> Iterator["SolverProcess"]:
    """A child that loads its code at once; it is gone at the end of the block, whatever it was doing."""
    child = start_process(memory_bytes)
    try:
        yield SolverProcess(child)
    finally:
        end_process(child)


def start_process(memory_bytes: int) -> "subprocess.Popen[str]":
    """A child that loads its code and waits for requests; whoever starts it ends it."""
    with _children.starting:
        child = subprocess.Popen(  # noqa: S603 - our own module, no shell
            [sys.executable, "-m", "routing.solver.worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=_environment(memory_bytes),
        )
        _children.running.add(child)
    return child


def end_process(child: "subprocess.Popen[str]") -> None:
    """Kill it, wait until it is gone, and close its pipes."""
    child.kill()
    child.wait()
    for pipe in _pipes(child):
        with suppress(OSError):
            pipe.close()  # what it has not read is of no use any more
    _children.running.discard(child)


def _pipes(child: "subprocess.Popen[str]") -> list[IO[str]]:
    return [pipe for pipe in (child.stdin, child.stdout, child.stderr) if pipe]


class _Children:
    """The children whose pipes are open, so that a forked copy of this process can let go of them."""

    def __init__(self) -> None:
        self.starting = threading.Lock()
        """Held while a child is started: no copy is made of pipes that are not known yet."""
        self.running: set[subprocess.Popen[str]] = set()
        self._never_closed: list[IO[str]] = []

    def let_go(self) -> None:
        """In the copy. The pipes lead nowhere instead of being closed: a thread that is not in the copy may hold the
        lock of Python's file, which would be waited for without end."""
        self.starting = threading.Lock()
        for child in self.running:
            for pipe in _pipes(child):
                self._never_closed.append(pipe)
                with suppress(OSError, ValueError):  # another thread was just closing it
                    _lead_nowhere(pipe.fileno())
            child.stdin = child.stdout = child.stderr = None
        self.running.clear()


def _lead_nowhere(descriptor: int) -> None:
    nothing = os.open(os.devnull, os.O_RDWR)
    os.dup2(nothing, descriptor, inheritable=False)
    os.close(nothing)


_children = _Children()
os.register_at_fork(
    before=lambda: _children.starting.acquire(),
    after_in_parent=lambda: _children.starting.release(),
    after_in_child=_children.let_go,
)


class SolverProcess:
    """Solves one problem after another in the child."""

    def __init__(self, child: "subprocess.Popen[str]"):
        self._child = child
        self._complaints: list[str] = []
        self._killed = threading.Event()
        assert child.stderr
        self._draining = threading.Thread(target=self._complaints.extend, args=(child.stderr,), daemon=True)
        self._draining.start()

    def solve(
        self,
        problem: Problem,
        *,
        seconds: float,
        grace_seconds: float = GRACE_SECONDS,
        seed: int = 1,
        objective: Objective = "value",
        first: Orders | None = None,
        on_progress: Callable[[Plan], None] | None = None,
    ) -> Plan:
        """The best plan `seconds` from now at the latest (plus a grace, after which the child is killed).

        If the child is killed or fails, the best plan that it reported is given, its `solver` entry carrying
        "ended": "killed" or "failed". Raises SolverKilled or SolverFailed where it reported none.
        """
        TimeLimit(seconds)
        until = time.monotonic() + seconds
        listener = _Listener(on_progress)
        request = {
            "problem": problem_to_json(problem),
            "until": until,
            "seed": seed,
            "objective": objective,
            "first": None if first is None else {crew: list(order) for crew, order in first.items()},
        }
        self._converse(json.dumps(request), until + grace_seconds, listener)
        if listener.is_answered:
            return listener.best
        return listener.unanswered(killed=self._killed.is_set(), why=self._last_words())

    def _converse(self, request: str, until: float, listener: "_Listener") -> None:
        """Hand over the request and listen until it is answered, the child ends, or time is over."""
        assert self._child.stdin
        assert self._child.stdout
        timer = threading.Timer(max(0.0, until - time.monotonic()), self._kill)
        sending = threading.Thread(target=_send, args=(self._child.stdin, request), daemon=True)
        for thread in (timer, sending):
            thread.start()
        try:
            while not listener.is_answered and (line := self._child.stdout.readline()):
                listener.hear(line)
        finally:
            timer.cancel()
            sending.join(1)  # it has been read, or nobody is left who reads

    def _kill(self) -> None:
        self._killed.set()
        self._child.kill()

    def _last_words(self) -> str:
        """What the child complained about; it has closed its output, so it is at its end."""
        code = self._child.wait()
        self._draining.join(1)
        return "".join(self._complaints)[-2000:].strip() or f"it ended with code {code}"


def _environment(memory_bytes: int) -> dict[str, str]:
    root = str(Path(__file__).resolve().parents[2])
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    return {
        **os.environ,
        MEMORY_VARIABLE: str(memory_bytes),
        "PYTHONPATH": os.pathsep.join(paths),
        "OPENBLAS_NUM_THREADS": "1",
    }


def _send(pipe: IO[str], request: str) -> None:
    """A child that ended early does not read to the end; what is left of the request is then of no use."""
    with suppress(OSError, ValueError):
        pipe.write(request + "\n")
        pipe.flush()


class _Listener:
    """Keeps the best plan that the child has reported for one problem."""

    def __init__(self, on_progress: Callable[[Plan], None] | None):
        self._on_progress = on_progress
        self._best: Plan | None = None
        self._error = ""
        self.is_answered = False

    @property
    def best(self) -> Plan:
        assert self._best
        return self._best

    def hear(self, line: str) -> None:
        try:
            message: dict[str, Any] = json.loads(line)
        except ValueError:
            return  # the child was killed in the middle of a line
        if "error" in message:
            self._error = str(message["error"])
            return
        self._best = parse_plan(message["plan"])
        self.is_answered = message["final"]
        if self._on_progress:
            self._on_progress(self._best)

    def unanswered(self, *, killed: bool, why: str) -> Plan:
        """The best plan heard of, marked as what it is. Raises where there is none."""
        if self._best is None:
            raise SolverKilled("stopped at its limit") if killed else SolverFailed(self._error or why)
        best = plan_to_json(self._best)
        ended = "killed" if killed else "failed"
        return parse_plan({**best, "solver": {**best["solver"], "ended": ended}})
