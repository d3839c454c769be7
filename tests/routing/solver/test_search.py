"""The search on its own: what it must find without the help of exact routes."""

from typing import Any

from routing.solver import evaluate, parse_problem
from routing.solver.compiled import day_of
from routing.solver.construct import construct
from routing.solver.finish import Findings, finished_plan, simple_bound
from routing.solver.model import build_model
from routing.solver.ortools_engine import ortools_routes
from routing.solver.promises import Promises
from routing.solver.search import Search


def far_estate(jobs: int) -> dict[str, Any]:
    """Small jobs side by side an hour away: none pays the way alone, eight together do.

    One job: 3000 - (60 + 10 + 60) x 100 = -10,000 cents. Eight: 24,000 - (60 + 80 + 60) x 100 = 4,000 cents.
    """
    return {
        "format": "day-problem/1",
        "places": ["yard", "estate"],
        "drive_minutes": [[0, 60], [60, 0]],
        "drive_metres": [[0, 0], [0, 0]],
        "crews": [
            {"id": "A", "start": "yard", "end": "yard", "shift": [0, 480], "skills": [], "cents_per_minute": 100,
             "cents_per_km": 0, "fixed_cents": 0}
        ],
        "jobs": [
            {"id": f"J{n}", "place": "estate", "on_site_minutes": 10, "windows": [[0, 480]], "gain_cents": 3000,
             "needs": []}
            for n in range(jobs)
        ],
        "reserve_cents_per_crew_hour": 0,
    }  # fmt: skip


def test_a_day_is_begun_although_its_first_stop_loses_money() -> None:
    """From an idle crew the search finds the route of all eight, worth 4,000 cents."""
    model = build_model(parse_problem(far_estate(8)))
    search = Search(model, day_of(model, model.gain), [[]], seed=1)
    search.run(400, 3000.0)
    assert len(search.best_routes[0]) == 8
    assert search.best_value == search.route_ticks(0, search.best_routes[0])
    assert search.best_value > 0


def test_a_day_that_cannot_pay_stays_idle() -> None:
    """Five jobs bring 15,000 and cost 17,000: the best plan is to stay in the yard."""
    model = build_model(parse_problem(far_estate(5)))
    search = Search(model, day_of(model, model.gain), [[]], seed=1)
    search.run(400, 3000.0)
    assert search.best_routes == [[]]
    assert search.best_value == 0


def test_a_crew_whose_fixed_stop_cannot_be_kept_does_nothing_else() -> None:
    """Crew A has begun J0, but its window is over before anybody can be there: no other job may come before it."""
    data = far_estate(8)
    for job in data["jobs"]:
        job["gain_cents"] = 30_000
    data["jobs"][0]["windows"] = [[0, 30]]
    model = build_model(parse_problem({**data, "fixed": {"A": ["J0"]}}))
    routes = ortools_routes(model, seconds=60.0, solutions=5, first=construct(model))
    assert routes == [[]]
    clash = Promises(model).first_look(routes, lambda: False).clash
    plan = finished_plan(model, routes, Findings(simple_bound(model), clash=clash))
    assert plan.status == "infeasible"
    assert plan.reasons[0].startswith("the fixed stops of crew A cannot be kept: J0 cannot begin after 00:30")
    assert evaluate(model.problem, plan).faults == ()
