"""What a limit of rounds promises: the same plan on every run, although annealing runs on a thread of its own."""

from dataclasses import replace

import pytest

from routing.solver import Params, Plan, RoundLimit, parse_problem, solve
from routing.solver.optimiser import Optimiser
from routing.solver.solve import prepared
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


@pytest.mark.parametrize("day", [5, 6])
def test_a_day_of_forty_jobs_and_four_crews_is_proved_in_few_rounds(day: int) -> None:
    """What a small company plans every morning. Two seeds go two ways and must prove the same value."""
    problem = parse_problem(realistic_day(DayKind("morning", 40, 4, day)))
    proved = set()
    for seed in (1, 2):
        model, routes = prepared(problem)
        optimiser = Optimiser(model, routes, seed, Params(), RoundLimit(60).started())
        optimiser.run(lambda: None)
        assert optimiser.closed
        proved.add(optimiser.value)
    assert len(proved) == 1
