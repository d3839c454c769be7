"""Random days: our plans against the evaluator and against trying everything."""

from hypothesis import given, settings

from routing.solver import Problem, RoundLimit, evaluate, solve
from routing.solver.finish import simple_bound
from routing.solver.model import build_model
from routing.solver.money import TICKS_PER_CENT
from tests.routing.solver.brute_force import best_value
from tests.routing.solver.strategies import day_problems


@settings(max_examples=1000, deadline=None)
@given(day_problems(max_jobs=6))
def test_small_days_are_solved_to_the_optimum(problem: Problem) -> None:
    """The value equals the exact optimum, and the plan says so; the evaluator finds no fault."""
    plan = solve(problem, stop=RoundLimit(60))
    judged = evaluate(problem, plan)
    assert judged.faults == ()
    best = best_value(problem)
    if best is None:
        assert plan.status == "infeasible"
        assert plan.reasons
    else:
        assert abs(judged.value_cents - float(best)) < 0.01
        assert plan.status == "optimal"
        assert plan.upper_bound_cents >= float(best) - 0.01


@settings(max_examples=300, deadline=None)
@given(day_problems(max_jobs=6))
def test_no_plan_is_worth_more_than_the_bound_without_search(problem: Problem) -> None:
    """Also where nothing has been searched yet the bound holds for the exact optimum."""
    best = best_value(problem)
    if best is not None:
        assert simple_bound(build_model(problem)) >= float(best) * TICKS_PER_CENT
