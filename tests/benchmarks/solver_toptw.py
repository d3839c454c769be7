"""Team orienteering with time windows as day problems: Solomon's and Cordeau's points with profits.

File: line 1 `k v N t`, line 2 of no use, then per point `i x y service profit ... opens closes`; point
0 is start and end, its closing time the latest return. Distances decide what is feasible: cut after the
first decimal for Solomon's points (times x 10), after the second for Cordeau's (times x 100).
"""

import csv
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PROFIT_CENTS = 100


@dataclass(frozen=True, slots=True)
class Published:
    """The best published profit of an instance with so many routes."""

    name: str
    routes: int
    profit: int
    proven: bool


def published_values(folder: Path) -> list[Published]:
    with (folder / "values.csv").open(encoding="utf-8") as file:
        return [
            Published(row["instance"], int(row["routes"]), int(row["profit"]), row["kind"] == "proven")
            for row in csv.DictReader(file)
        ]


def toptw_problem(folder: Path, name: str, routes: int) -> dict[str, Any]:
    """A dollar of gain per unit of profit (the search is tuned for money of that size), nothing costs anything."""
    scale = 100 if name.startswith("pr") else 10
    points = points_of(folder, name)
    table = [[math.floor(scale * math.dist(a[1:3], b[1:3]) + 1e-9) for b in points] for a in points]
    places = [f"p{int(point[0])}" for point in points]
    end = round(points[0][-1] * scale)
    return {
        "format": "day-problem/1",
        "places": places,
        "drive_minutes": table,
        "drive_metres": table,
        "crews": [
            {
                "id": f"R{k}",
                "start": places[0],
                "end": places[0],
                "shift": [0, end],
                "cents_per_minute": 0,
                "cents_per_km": 0,
                "fixed_cents": 0,
            }
            for k in range(routes)
        ],
        "jobs": [
            {
                "id": f"J{int(point[0])}",
                "place": place,
                "on_site_minutes": round(point[3] * scale),
                "windows": [[round(point[-2] * scale), round(point[-1] * scale)]],
                "gain_cents": PROFIT_CENTS * round(point[4]),
            }
            for point, place in zip(points[1:], places[1:], strict=True)
        ],
    }


def points_of(folder: Path, name: str) -> list[list[float]]:
    lines = (folder / f"{name}.txt").read_text(encoding="utf-8").split("\n")
    return [[float(cell) for cell in line.split()] for line in lines[2:] if line.strip()]
