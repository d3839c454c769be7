# ruff: noqa: T201  printing tables is what this program is for
"""The prize-collecting vehicle routing problem with time windows, 1,000 customers, as day problems.

File: `KEY : value` lines, then sections of `i ...` lines, point 1 the depot: NODE_COORD_SECTION `i x y`,
DEMAND_SECTION `i demand`, TIME_WINDOW_SECTION `i opens closes`, PRIZE_SECTION `i prize`. Every customer takes
SERVICE_TIME. Distance = drive time = Euclidean, cut after the first decimal (times x 10). An instance's cost is its
distance and the prizes not collected, both x 10.
"""

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from routing.solver import Plan, Problem, evaluate, parse_problem, solve_in_child

SCALE = 10
UNIT_CENTS = 10
"""What a unit of cost is worth here, so that a prize is some $20: the search is tuned for money of that size."""


@dataclass(frozen=True, slots=True)
class BestKnown:
    name: str
    cost: int
    visited: int


def best_known(folder: Path) -> list[BestKnown]:
    with (folder / "best_known.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return [BestKnown(row["instance"], int(row["best_known"]), int(row["clients_visited"])) for row in rows]


def pcvrptw_problem(text: str) -> dict[str, Any]:
    """The day problem of a file's text; its value is UNIT_CENTS x (all prizes - cost)."""
    heads, sections = _parts(text)
    points, demands = sections["NODE_COORD"], sections["DEMAND"]
    windows, prizes = sections["TIME_WINDOW"], sections["PRIZE"]
    places = [f"p{point[0]}" for point in points]
    table = [[math.floor(SCALE * math.dist(a[1:], b[1:]) + 1e-9) for b in points] for a in points]
    shift = [SCALE * windows[0][1], SCALE * windows[0][2]]
    customers = range(1, len(points))
    return {
        "format": "day-problem/1",
        "places": places,
        "drive_minutes": table,
        "drive_metres": table,
        "crews": [_crew(f"V{k + 1}", places[0], shift, heads["CAPACITY"]) for k in range(heads["VEHICLES"])],
        "jobs": [
            {
                "id": f"J{points[i][0]}",
                "place": places[i],
                "on_site_minutes": SCALE * heads["SERVICE_TIME"],
                "windows": [[SCALE * windows[i][1], SCALE * windows[i][2]]],
                "gain_cents": UNIT_CENTS * SCALE * prizes[i][1],
                "uses": {"load": demands[i][1]},
            }
            for i in customers
        ],
    }


def _crew(name: str, depot: str, shift: list[int], capacity: int) -> dict[str, Any]:
    return {
        "id": name,
        "start": depot,
        "end": depot,
        "shift": shift,
        "cents_per_minute": 0,
        "cents_per_km": UNIT_CENTS * 1_000,
        "fixed_cents": 0,
        "capacity": {"load": capacity},
    }


def _parts(text: str) -> tuple[dict[str, int], dict[str, list[list[int]]]]:
    """Whole numbers by key, rows of whole numbers by section."""
    heads: dict[str, int] = {}
    sections: dict[str, list[list[int]]] = {}
    rows: list[list[int]] = []
    for line in text.splitlines():
        key, colon, value = line.partition(":")
        if colon and value.strip().isdigit():
            heads[key.strip()] = int(value)
        elif line.strip().endswith("_SECTION"):
            rows = sections.setdefault(line.strip().removesuffix("_SECTION"), [])
        elif line.strip() and not colon and line.strip() != "EOF":
            rows.append([int(cell) for cell in line.split()])
    return heads, sections


def cost_of(problem: Problem, value_cents: float) -> float:
    """The instance's cost of a plan of that value; of a bound on the value, a bound on the cost."""
    return (sum(job.gain_cents for job in problem.jobs) - value_cents) / UNIT_CENTS


def run_pcvrptw(folder: Path, seconds: float, limit: int | None) -> list[str]:
    """Prints the table (files spread evenly where `limit` asks for fewer); bounds that do not hold."""
    known = best_known(folder)
    chosen = known if limit is None else known[:: -(-len(known) // limit)]
    print("\n| instance | best known | ours | % above | visited | lower bound | gap % | status | s |")
    print("|---" * 9 + "|")
    return list(_false_bounds(folder, chosen, seconds))


def _false_bounds(folder: Path, chosen: Sequence[BestKnown], seconds: float) -> Iterator[str]:
    for known in chosen:
        problem = parse_problem(pcvrptw_problem((folder / f"{known.name}.vrp").read_text(encoding="utf-8")))
        plan = solve_in_child(problem, seconds=seconds)
        judged = evaluate(problem, plan)
        assert judged.faults == (), judged.faults
        cost, bound = cost_of(problem, plan.value_cents), cost_of(problem, plan.upper_bound_cents)
        print(_line(known, plan, cost, bound), flush=True)
        if bound > min(cost, known.cost) + 1:
            yield f"{known.name}: the bound {bound:.0f} is above a cost of {min(cost, known.cost):.0f}"


def _line(known: BestKnown, plan: Plan, cost: float, bound: float) -> str:
    visited = sum(len(route.stops) for route in plan.routes)
    ended = f", {plan.solver['ended']}" if "ended" in plan.solver else ""
    return (
        f"| {known.name} | {known.cost:,} | {cost:,.0f} | {100 * (cost / known.cost - 1):.2f} | "
        f"{visited} ({known.visited}) | {bound:,.0f} | {100 * (1 - bound / cost):.1f} | {plan.status}{ended} | "
        f"{plan.seconds:.0f} |"
    )
