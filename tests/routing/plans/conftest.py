"""The day that most tests plan, and a solver that answers at once."""

from contextlib import nullcontext
from datetime import UTC, date, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from routing.plans.services import replanning, runs, weeks
from routing.solver import Params, Plan, Problem, RoundLimit, solve
from routing.solver.finish import Findings, finished_plan
from routing.solver.model import build_model


@pytest.fixture
def solve_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """The real solver in this process, by counted rounds: no child to start, the same plan on every run."""

    def here(problem: Problem, *, seconds: float, seed: int = 1, objective: str = "value", **more: Any) -> Plan:
        params = Params(objective=objective)  # type: ignore[arg-type]
        rounds = 5 if objective == "ratio" else 0
        return solve(problem, stop=RoundLimit(rounds), seed=seed, params=params, **more)

    for module in (runs, weeks):
        monkeypatch.setattr(module, "solve_in_child", here)

    def replan(problem: Problem, *, grace_seconds: float, **more: Any) -> Plan:
        return here(problem, **more)

    monkeypatch.setattr(replanning, "keep_ready", lambda: None)
    monkeypatch.setattr(replanning, "ready_process", lambda: nullcontext(SimpleNamespace(solve=replan)))


def nothing_decided(problem: Problem, **_more: Any) -> Plan:
    """A solver whose time is over before it has placed anything or proved that promises clash."""
    return finished_plan(build_model(problem), [[] for _ in problem.crews], Findings(10**12))


@pytest.fixture
def day() -> date:
    """A Wednesday without anything special."""
    return date(2026, 6, 3)


@pytest.fixture
def morning() -> datetime:
    """The evening before, at the yard."""
    return datetime(2026, 6, 2, 22, 0, tzinfo=UTC)


@pytest.fixture
def whole_day(day: date) -> dict[str, Any]:
    return {"first_date": day, "last_date": day}
