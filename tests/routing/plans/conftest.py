"""The day that most tests plan, and a solver that answers at once."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest

from routing.plans.services import runs
from routing.solver import Plan, Problem, RoundLimit, solve


@pytest.fixture
def solve_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """The real solver in this process, by counted rounds: no child to start, the same plan on every run."""

    def here(problem: Problem, *, seconds: float, seed: int, on_progress: Callable[[Plan], None]) -> Plan:
        return solve(problem, stop=RoundLimit(0), seed=seed, on_progress=on_progress)

    monkeypatch.setattr(runs, "solve_in_child", here)


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
