# ruff: noqa: T201  printing tables is what this program is for
"""Solomon's C101 and R101: every customer visited, with the published number of routes and the least distance.

The points are those of the team orienteering files (`solver_toptw`), whose profits are Solomon's demands; their
capacity is 200. Distances are not cut here: 828.94 with 10 routes and 1650.80 with 19 are published for doubles
(Solomon, "Algorithms for the Vehicle Routing and Scheduling Problems with Time Window Constraints", Operations
Research 1987; SINTEF's list of best known solutions). Drives are rounded up to the next 1/500 of a time unit, so what
is in time here is in time; the distances that count are exact to 1/100,000.
"""

import math
from pathlib import Path
from typing import Any

from routing.solver import evaluate, parse_problem, solve_in_child

from .solver_toptw import points_of

TIME_SCALE = 500
DISTANCE_SCALE = 100_000
UNIT_CENTS = 100
"""A unit of distance costs a dollar."""
VISIT_CENTS = 20_000
"""More than any customer costs, so that everybody is visited."""
CAPACITY = 200
PUBLISHED = {"c101": (10, 828.94), "r101": (19, 1650.80)}


def vrptw_problem(folder: Path, name: str, routes: int) -> dict[str, Any]:
    points = points_of(folder, name)
    places = [f"p{int(point[0])}" for point in points]
    apart = [[math.dist(a[1:3], b[1:3]) for b in points] for a in points]
    shift = [0, round(points[0][-1] * TIME_SCALE)]
    return {
        "format": "day-problem/1",
        "places": places,
        "drive_minutes": [[math.ceil(TIME_SCALE * cell - 1e-6) for cell in row] for row in apart],
        "drive_metres": [[round(DISTANCE_SCALE * cell) for cell in row] for row in apart],
        "crews": [
            {
                "id": f"V{k + 1}",
                "start": places[0],
                "end": places[0],
                "shift": shift,
                "cents_per_minute": 0,
                "cents_per_km": UNIT_CENTS * 1_000 // DISTANCE_SCALE,
                "fixed_cents": 0,
                "capacity": {"load": CAPACITY},
            }
            for k in range(routes)
        ],
        "jobs": [
            {
                "id": f"J{int(point[0])}",
                "place": place,
                "on_site_minutes": round(point[3] * TIME_SCALE),
                "windows": [[round(point[-2] * TIME_SCALE), round(point[-1] * TIME_SCALE)]],
                "gain_cents": VISIT_CENTS,
                "uses": {"load": round(point[4])},
            }
            for point, place in zip(points[1:], places[1:], strict=True)
        ],
    }


def run_vrptw(folder: Path, seconds: float) -> list[str]:
    """Prints the table; instances whose published distance was not reached."""
    print("\n| instance | routes | published | ours | lower bound | status | s |\n|---|---|---|---|---|---|---|")
    missed = []
    for name, (routes, published) in PUBLISHED.items():
        problem = parse_problem(vrptw_problem(folder, name, routes))
        plan = solve_in_child(problem, seconds=seconds)
        assert evaluate(problem, plan).faults == ()
        most = VISIT_CENTS * len(problem.jobs)
        ours, bound = (most - plan.value_cents) / UNIT_CENTS, (most - plan.upper_bound_cents) / UNIT_CENTS
        visits = sum(len(route.stops) for route in plan.routes)
        print(
            f"| {name} | {len(plan.routes)} | {routes} / {published:.2f} | {ours:.2f} | {bound:.2f} | {plan.status} | "
            f"{plan.seconds:.1f} |",
            flush=True,
        )
        if visits < len(problem.jobs) or round(ours, 2) > published:
            missed.append(f"{name}: {visits} visits at a distance of {ours:.2f}, published {published:.2f}")
        if bound > published + 0.005:
            missed.append(f"{name}: the bound {bound:.2f} is above the published distance")
    return missed
