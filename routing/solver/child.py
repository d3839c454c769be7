"""Solving in a process of its own: a hard limit in time and memory, and nothing left half done.

The parent writes the problem to a file of its own, the child writes one JSON line for each better
plan. Whatever happens to the child, the last good line is a plan that keeps every rule. A plain
`subprocess` works from threads, from daemonic worker processes and from commands alike.
"""

import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
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


def solve_in_child(
    problem: Problem,
    *,
    seconds: float,
    seed: int = 1,
    objective: Objective = "value",
    first: Orders | None = None,
    memory_bytes: int = DEFAULT_MEMORY_BYTES,
    on_progress: Callable[[Plan], None] | None = None,
) -> Plan:
    """The best plan after at most `seconds` (plus a short grace, after which the child is killed).

    If the child is killed or fails, the best plan that it reported is given, its `solver` entry
    carrying "ended": "killed" or "failed". Raises SolverKilled or SolverFailed where it reported
    none.
    """
    TimeLimit(seconds)
    listener = _Listener(on_progress)
    request = json.dumps(
        {
            "problem": problem_to_json(problem),
            "seconds": seconds,
            "seed": seed,
            "objective": objective,
            "first": None if first is None else {crew: list(order) for crew, order in first.items()},
        }
    )
    with subprocess.Popen(  # noqa: S603 - our own module, no shell
        [sys.executable, "-m", "routing.solver.worker"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=_environment(memory_bytes),
    ) as child:
        killed, errors = _converse(child, request, seconds + GRACE_SECONDS, listener)
    return listener.outcome(killed, child.returncode, errors)


def _environment(memory_bytes: int) -> dict[str, str]:
    root = str(Path(__file__).resolve().parents[2])
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    return {
        **os.environ,
        MEMORY_VARIABLE: str(memory_bytes),
        "PYTHONPATH": os.pathsep.join(paths),
        "OPENBLAS_NUM_THREADS": "1",
    }


def _converse(child: "subprocess.Popen[str]", request: str, limit: float, listener: "_Listener") -> tuple[bool, str]:
    """Hand over the request and listen until the child ends; (killed, what it complained about)."""
    killed = threading.Event()
    complaints: list[str] = []

    def kill() -> None:
        killed.set()
        child.kill()

    assert child.stdin
    assert child.stdout
    assert child.stderr
    timer = threading.Timer(limit, kill)
    threads = [
        threading.Thread(target=_send, args=(child.stdin, request), daemon=True),
        threading.Thread(target=_drain, args=(child.stderr, complaints), daemon=True),
    ]
    for thread in (timer, *threads):
        thread.start()
    try:
        for line in child.stdout:
            listener.hear(line)
        child.wait()
    except BaseException:
        child.kill()
        raise
    finally:
        timer.cancel()
    for thread in threads:
        thread.join(1)  # the child is gone, so neither has anything left to wait for
    return killed.is_set(), "".join(complaints)[-2000:]


def _send(pipe: IO[str], request: str) -> None:
    """A child that ended early does not read to the end; what is left of the request is then of no use."""
    with suppress(BrokenPipeError):
        pipe.write(request)
    with suppress(BrokenPipeError):
        pipe.close()


def _drain(pipe: IO[str], into: list[str]) -> None:
    into.extend(pipe)


class _Listener:
    """Keeps the best plan that the child has reported."""

    def __init__(self, on_progress: Callable[[Plan], None] | None):
        self._on_progress = on_progress
        self._best: Plan | None = None
        self._error = ""

    def hear(self, line: str) -> None:
        try:
            message: dict[str, Any] = json.loads(line)
        except ValueError:
            return  # the child was killed in the middle of a line
        if "error" in message:
            self._error = str(message["error"])
            return
        self._best = parse_plan(message["plan"])
        if self._on_progress:
            self._on_progress(self._best)

    def outcome(self, killed: bool, code: int | None, errors: str) -> Plan:
        if self._best is None:
            why = self._error or errors.strip() or f"it ended with code {code}"
            raise SolverKilled("stopped at its limit") if killed else SolverFailed(why)
        if not killed and code == 0:
            return self._best
        ended = "killed" if killed else "failed"
        best = plan_to_json(self._best)
        return parse_plan({**best, "solver": {**best["solver"], "ended": ended}})
