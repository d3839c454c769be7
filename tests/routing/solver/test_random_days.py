"""Random days: our plans against the evaluator and against trying everything."""

from hypothesis import given, settings

from routing.solver import Problem, RoundLimit, evaluate, solve
from tests.routing.solver.brute_force import best_value
from tests.routing.solver.strategies import day_problems


@settings(max_examples=300, deadline=None)
@given(day_problems())
def test_no_plan_is_faulted_and_no_bound_is_too_low(problem: Problem) -> None:
    """Every plan keeps every rule; the exact optimum is never above the bound or below the value."""
    plan = solve(problem, stop=RoundLimit(1))
    judged = evaluate(problem, plan)
    assert judged.faults == ()
    best = best_value(problem)
    if best is None:
        assert plan.status == "infeasible"
        assert plan.reasons
    elif plan.status != "infeasible":
        assert judged.value_cents <= float(best) + 1e-6
        assert plan.upper_bound_cents >= float(best) - 1e-6
