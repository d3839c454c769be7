"""Price to place and worth of a crew-hour: what they say, tested by changing the day and solving again."""

from dataclasses import replace

from hypothesis import given, settings

from routing.solver import Plan, Problem, RoundLimit, parse_problem, solve
from tests.routing.solver.brute_force import best_value
from tests.routing.solver.days import four_stop_day
from tests.routing.solver.strategies import day_problems


def dearer(problem: Problem, job_id: str, cents: int) -> Problem:
    """The day with one job's price raised."""
    raised = (replace(j, gain_cents=j.gain_cents + cents) if j.id == job_id else j for j in problem.jobs)
    return problem.replace(jobs=tuple(raised))


def placed(plan: Plan) -> set[str]:
    return {job for route in plan.routes for job in route.job_ids}


@settings(max_examples=80, deadline=None)
@given(day_problems(max_jobs=5, max_crews=2))
def test_the_exact_price_places_the_job_and_a_smaller_one_does_not(problem: Problem) -> None:
    """At the price the best plan holds the job and is worth more; a cent less, and the day is worth what it was."""
    plan = solve(problem, stop=RoundLimit(40))
    if plan.status != "optimal":
        return
    for left in plan.left_out:
        if left.price_to_place_cents is None or not left.price_is_exact:
            continue
        raised = dearer(problem, left.job, left.price_to_place_cents)
        after = solve(raised, stop=RoundLimit(40))
        assert left.job in placed(after)
        most, less = best_value(raised), best_value(dearer(problem, left.job, left.price_to_place_cents - 1))
        assert most is not None
        assert less is not None
        assert most > plan.value_cents - 0.001
        assert abs(float(less) - plan.value_cents) < 0.01


@settings(max_examples=80, deadline=None)
@given(day_problems(max_jobs=5, max_crews=2))
def test_no_smaller_rise_than_an_estimate_places_the_job(problem: Problem) -> None:
    """Whatever is said of a price, exact or not: a rise below it leaves the day worth what it was."""
    plan = solve(problem, stop=RoundLimit(1))
    best = best_value(problem)
    for left in plan.left_out:
        if best is not None and left.price_to_place_cents:
            less = best_value(dearer(problem, left.job, left.price_to_place_cents - 1))
            assert less is not None
            assert abs(float(less - best)) < 0.01


def test_prices_by_hand() -> None:
    """The best day is J1 and J2: 160 paid minutes, the break unpaid.

    J3 adds 100 minutes and 40 km, 10,000 + 2,000 cents, and brings 10,000: a loss of 2,000. J4 is best reached with J3
    on the way: 370 paid minutes, 70 of them overtime, and 120 km more: 21,000 + 4,200 + 6,000 cents more, against
    14,000 that both bring: a loss of 17,200. One cent above the loss places the job.
    """
    plan = solve(parse_problem(four_stop_day()), stop=RoundLimit(40))
    prices = {left.job: (left.price_to_place_cents, left.price_is_exact) for left in plan.left_out}
    assert prices == {"J3": (2_001, True), "J4": (17_201, True)}


@settings(max_examples=60, deadline=None)
@given(day_problems(max_jobs=5, max_crews=2))
def test_one_more_crew_adds_no_more_than_crew_hours_are_worth(problem: Problem) -> None:
    """A second crew like the first adds at most its shift's hours at that worth, where all crews are alike."""
    if problem.fixed or any(job.must_do or job.crews is not None or job.prefer for job in problem.jobs):
        return
    crew = problem.crews[0]
    alone = problem.replace(crews=(crew,))
    plan = solve(alone, stop=RoundLimit(40))
    if plan.crew_hour_worth_cents is None or plan.status != "optimal":
        return
    more = best_value(problem.replace(crews=(crew, replace(crew, id="Z"))))
    hours = (crew.shift[1] - crew.shift[0]) / 60
    assert more is not None
    assert float(more) - plan.value_cents <= (plan.crew_hour_worth_cents + 1) * hours + 0.01


def test_a_break_before_the_first_drive_counts_as_a_way_to_place_a_job() -> None:
    """The only break that fits is at the yard, so the price is what the drive costs, not that of a job out of reach."""
    problem = parse_problem(
        {
            "format": "day-problem/1",
            "places": ["yard", "house"],
            "drive_minutes": [[0, 1], [0, 0]],
            "drive_metres": [[0, 1], [0, 0]],
            "reserve_cents_per_crew_hour": 0,
            "crews": [
                {
                    "id": "A", "start": "yard", "end": "house", "shift": [0, 1], "cents_per_minute": 0,
                    "cents_per_km": 1, "fixed_cents": 0, "break": {"minutes": 0, "window": [0, 0], "paid": False},
                }
            ],
            "jobs": [{"id": "J1", "place": "house", "on_site_minutes": 0, "windows": [[0, 400]], "gain_cents": 0}],
        }
    )  # fmt: skip
    (left,) = solve(problem, stop=RoundLimit(1)).left_out
    assert left.price_to_place_cents == 1
