"""The most profit per paid crew-hour: the method itself, and plans against trying everything."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import given, settings

from routing.solver import Params, Problem, RoundLimit, evaluate, parse_plan, parse_problem, plan_to_json, solve
from routing.solver.ratio import dinkelbach
from tests.routing.solver.brute_force import best_ratio, best_value
from tests.routing.solver.days import four_stop_day
from tests.routing.solver.strategies import day_problems

FOR_RATIO = Params(objective="ratio")


def test_the_ratio_never_falls_and_the_last_pass_gains_nothing() -> None:
    """Three choices of (profit, hours); greedy by profit alone takes (10, 10), the best ratio is (7, 2)."""
    choices = [(10, 10), (7, 2), (9, 4)]

    def best_at(ratio: Fraction) -> tuple[int, Fraction, Fraction]:
        best = max(range(3), key=lambda i: choices[i][0] - ratio * choices[i][1])
        return best, Fraction(choices[best][0]), Fraction(choices[best][1])

    passes = dinkelbach(best_at, Fraction(0))
    assert [found.answer for found in passes] == [0, 1, 1]
    assert [found.at for found in passes] == [0, 1, Fraction(7, 2)]
    assert not passes[-1].gains


def test_best_value_and_best_ratio_are_different_days() -> None:
    """By hand: J1 alone pays (20,000 - 500 - 8,000 - 1,000) / 80 minutes; every further stop earns less an hour.

    J1 at 10 minutes: there, 60 minutes of work, back at 80, before the break is due. Profit 20,000 - 500 - 80 x 100
    - 20 x 50 = 10,500 cents in 80 minutes: 7,875 cents an hour.
    """
    problem = parse_problem(four_stop_day())
    plan = solve(problem, stop=RoundLimit(20), params=FOR_RATIO)
    assert evaluate(problem, plan).faults == ()
    assert [route.job_ids for route in plan.routes] == [("J1",)]
    found = plan.best_ratio
    assert found is not None
    assert found.cents_per_crew_hour == 7_875
    assert found.proved
    assert plan.value_cents < found.most_value_cents <= plan.upper_bound_cents
    assert found.most_value_cents_per_crew_hour < found.cents_per_crew_hour


def test_it_is_written_and_read_back() -> None:
    problem = parse_problem(four_stop_day())
    plan = solve(problem, stop=RoundLimit(5), params=FOR_RATIO)
    assert parse_plan(plan_to_json(plan)) == plan


@settings(max_examples=300, deadline=None)
@given(day_problems(max_jobs=5, max_crews=2))
def test_small_days_earn_the_most_there_is_per_crew_hour(problem: Problem) -> None:
    """The ratio equals the exact best to a cent; neither bound is below what it bounds. Every job takes time."""
    problem = problem.replace(jobs=tuple(replace(job, on_site_minutes=job.on_site_minutes + 1) for job in problem.jobs))
    plan = solve(problem, stop=RoundLimit(30), params=FOR_RATIO)
    judged = evaluate(problem, plan)
    assert judged.faults == ()
    best = best_ratio(problem)
    if best is None:
        assert plan.status == "infeasible"
        return
    found = plan.best_ratio
    assert found is not None
    if best > 0:
        assert abs(found.cents_per_crew_hour - float(best)) < 1
        assert found.proved
    assert found.upper_bound_cents_per_crew_hour is None or found.upper_bound_cents_per_crew_hour >= float(best) - 0.01
    most = best_value(problem)
    assert most is not None
    assert plan.upper_bound_cents >= float(most) - 0.01
