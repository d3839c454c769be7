"""Times of a fixed order against trying every place for the break."""

from hypothesis import given, settings
from hypothesis import strategies as st

from routing.solver import Broken, Plan, Problem, evaluate, schedule_route
from tests.routing.solver.brute_force import route_value
from tests.routing.solver.strategies import day_problems


@settings(max_examples=400, deadline=None)
@given(day_problems(max_jobs=4, max_crews=1), st.randoms(use_true_random=False))
def test_times_are_the_best_there_are(problem: Problem, random: object) -> None:
    """Same value as brute force, Broken exactly where brute force finds no times."""
    problem = problem.replace(fixed={})
    crew = problem.crews[0]
    jobs = [j for j in problem.jobs if set(j.needs) <= set(crew.skills) and j.crews in (None, ("A",))]
    random.shuffle(jobs)  # type: ignore[attr-defined]
    route = schedule_route(problem, crew.id, [job.id for job in jobs])
    best = route_value(problem, crew, jobs)
    if best is None:
        assert isinstance(route, Broken)
        return
    assert not isinstance(route, Broken)
    assert route.value_cents == float(best)
    problem = problem.replace(jobs=tuple(jobs))
    value = route.value_cents
    routes = (route,) if jobs else ()
    assert evaluate(problem, Plan("feasible", value, value, 0.0, routes, ())).faults == ()
