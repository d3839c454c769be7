"""Larger random days than can be solved by trying everything: what must hold of every plan all the same.

`python -m pytest -n 0 -m benchmark tests/routing/solver/test_large_days.py` runs thousands of them.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from routing.solver import Params, Plan, Problem, RoundLimit, evaluate, solve
from routing.solver.plan import OPTIMAL_GAP, per_crew_hour
from tests.routing.solver.large_days import large_day, plans_of_others

SEEDS = st.integers(0, 10**6)
ROUNDS = st.sampled_from([0, 1, 2, 4, 8])
CENT = 0.01
FOR_RATIO = Params(objective="ratio")


def check_value(problem: Problem, rounds: int) -> None:
    """No fault in any plan reported; no bound below any plan of ours, of insertion or of OR-Tools."""
    told: list[Plan] = []
    told.append(solve(problem, stop=RoundLimit(rounds), on_progress=told.append))
    for plan in told:
        judged = evaluate(problem, plan)
        assert judged.faults == ()
        assert abs(judged.value_cents - plan.value_cents) < CENT
        assert plan.upper_bound_cents >= plan.value_cents
        assert (plan.status == "optimal") <= (plan.gap <= OPTIMAL_GAP)
    kept = [plan for plan in (*told, *plans_of_others(problem)) if plan.keeps_promises]
    most = max((plan.value_cents for plan in kept), default=float("-inf"))
    assert min(plan.upper_bound_cents for plan in told) >= most - CENT
    assert not kept or not any(plan.status == "infeasible" for plan in told)


def check_ratio(problem: Problem, rounds: int) -> None:
    """The same for the most profit per paid crew-hour, which the plan's own figures say truly."""
    plan = solve(problem, stop=RoundLimit(rounds), params=FOR_RATIO)
    assert evaluate(problem, plan).faults == ()
    found = plan.best_ratio
    assert found is not None
    assert abs(found.cents_per_crew_hour - profit_per_crew_hour(problem, plan)) < 1
    bound = found.upper_bound_cents_per_crew_hour
    for other in plans_of_others(problem):
        assert bound is None or bound >= profit_per_crew_hour(problem, other) - CENT
        assert plan.upper_bound_cents >= other.value_cents - CENT


def profit_per_crew_hour(problem: Problem, plan: Plan) -> float:
    """Valued without the reserve."""
    profit = evaluate(problem.replace(reserve_cents_per_crew_hour=0), plan).value_cents
    return per_crew_hour(profit, sum(route.paid_minutes for route in plan.routes))


@settings(max_examples=200, deadline=None)
@given(SEEDS, ROUNDS)
def test_plans_of_larger_days(seed: int, rounds: int) -> None:
    check_value(large_day(seed, most_jobs=20), rounds)


@settings(max_examples=40, deadline=None)
@given(SEEDS, st.integers(0, 2))
def test_plans_for_the_best_ratio(seed: int, rounds: int) -> None:
    check_ratio(large_day(seed, most_jobs=15), rounds)


@pytest.mark.benchmark
@settings(max_examples=3000, deadline=None)
@given(SEEDS, ROUNDS)
def test_plans_of_very_many_larger_days(seed: int, rounds: int) -> None:
    check_value(large_day(seed), rounds)


@pytest.mark.benchmark
@settings(max_examples=500, deadline=None)
@given(SEEDS, st.integers(0, 4))
def test_plans_of_many_days_for_the_best_ratio(seed: int, rounds: int) -> None:
    check_ratio(large_day(seed, most_jobs=30), rounds)
