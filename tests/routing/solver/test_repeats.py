"""The same problem, seed and limit of rounds: the same plan, although annealing runs on a thread of its own."""

from dataclasses import replace

import pytest

from routing.solver import Plan, RoundLimit, parse_problem, solve
from tests.benchmarks.solver_days import DayKind, realistic_day

DAYS = (DayKind("mixed", 14, 2, 5), DayKind("dense", 14, 2, 6, dense=True), DayKind("week", 14, 1, 7, days=3))


def _untimed(plan: Plan) -> Plan:
    return replace(plan, seconds=0.0)


@pytest.mark.parametrize("kind", DAYS, ids=lambda kind: kind.name)
@pytest.mark.parametrize("rounds", [3, 12])
def test_every_run_gives_the_same_plan(kind: DayKind, rounds: int) -> None:
    """Value, bound, routes, times, prices and reasons."""
    problem = parse_problem(realistic_day(kind))
    first = _untimed(solve(problem, stop=RoundLimit(rounds), seed=3))
    for _ in range(2):
        assert _untimed(solve(problem, stop=RoundLimit(rounds), seed=3)) == first
