"""Published routing problems as day problems, by one small converter.

Money stands for what the published objective counts: a cent for a unit of distance or time, or of score.
"""

import math
from collections.abc import Sequence
from typing import Any

Table = list[list[int]]

# OR-Tools' documentation, "Vehicle routing": the depot, then sixteen stops of a city of blocks.
BLOCKS = [
    (456, 320), (228, 0), (912, 0), (0, 80), (114, 80), (570, 160), (798, 160), (342, 240), (684, 240),
    (570, 400), (912, 400), (114, 480), (228, 480), (342, 560), (684, 560), (0, 640), (798, 640),
]  # fmt: skip
DEMANDS = [1, 1, 2, 4, 2, 4, 8, 8, 1, 2, 1, 2, 4, 4, 8, 8]
LARGER_DEMANDS = [1, 1, 3, 6, 3, 6, 8, 8, 1, 2, 1, 2, 6, 6, 8, 8]
WINDOWS = [
    (7, 12), (10, 15), (16, 18), (10, 13), (0, 5), (5, 10), (0, 4), (5, 10),
    (0, 3), (10, 16), (10, 15), (0, 5), (5, 10), (7, 8), (10, 15), (11, 15),
]  # fmt: skip

# Tsiligirides 1984, problem 1: x, y, score of the start, thirty points and the end.
TSILIGIRIDES = [
    (10.5, 14.4, 0), (18.0, 15.9, 10), (18.3, 13.3, 10), (16.5, 9.3, 10), (15.4, 11.0, 10), (14.9, 13.2, 5),
    (16.3, 13.3, 5), (16.4, 17.8, 5), (15.0, 17.9, 5), (16.1, 19.6, 10), (15.7, 20.6, 10), (13.2, 20.1, 10),
    (14.3, 15.3, 5), (14.0, 5.1, 10), (11.4, 6.7, 15), (8.3, 5.0, 15), (7.9, 9.8, 10), (11.4, 12.0, 5),
    (11.2, 17.6, 5), (10.1, 18.7, 5), (11.7, 20.3, 10), (10.2, 22.1, 10), (9.7, 23.8, 10), (10.1, 26.4, 15),
    (7.4, 24.0, 15), (8.2, 19.9, 15), (8.7, 17.7, 10), (8.9, 13.6, 10), (5.6, 11.1, 10), (4.9, 18.9, 10),
    (7.3, 18.8, 10), (11.2, 14.1, 0),
]  # fmt: skip


def blocks_apart() -> Table:
    """Distances along the streets (Manhattan)."""
    return [[abs(a[0] - b[0]) + abs(a[1] - b[1]) for b in BLOCKS] for a in BLOCKS]


def blocks_minutes() -> Table:
    """Whole minutes at 83 m a minute (5 km an hour), cut: the time matrix of the same documentation."""
    return [[distance // 83 for distance in row] for row in blocks_apart()]


def straight_apart(points: Sequence[Sequence[float]], scale: int) -> Table:
    """Straight distances times `scale`, to the nearest whole."""
    return [[round(scale * math.dist(a[:2], b[:2])) for b in points] for a in points]


def vehicles(count: int, *, end: str = "p0", latest: int = 10_000, **more: Any) -> list[dict[str, Any]]:
    """`count` alike vehicles that start at the first place; nothing costs anything unless `more` says so."""
    costs = {"cents_per_minute": 0, "cents_per_km": 0, "fixed_cents": 0, **more}
    return [{"id": f"V{k}", "start": "p0", "end": end, "shift": [0, latest], **costs} for k in range(count)]


def day_of(table: Table, crews: list[dict[str, Any]], stops: Sequence[int], **columns: Sequence[Any]) -> dict[str, Any]:
    """A day-problem/1: a job at each place of `stops`; `columns` gives fields of the jobs, stop by stop.

    Both tables hold `table`, the metres a thousandfold, so that a cent per km is a cent per unit of it.
    """
    base = {"on_site_minutes": 0, "windows": [[0, 10**6]], "gain_cents": 0}
    named = [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]
    return {
        "format": "day-problem/1",
        "places": [f"p{place}" for place in range(len(table))],
        "drive_minutes": table,
        "drive_metres": [[1000 * cell for cell in row] for row in table],
        "crews": crews,
        "jobs": [
            {"id": f"J{place}", "place": f"p{place}", **base, **(named[i] if named else {})}
            for i, place in enumerate(stops)
        ],
    }
