"""Rank-one cuts over a list of routes: each row of a few counts with a weight, and sums are rounded down.

For any weights w_i = n_i / d of some rows, sum over routes of floor(sum_i w_i x visits to i) x_r <= floor(sum_i w_i),
since no row is used twice (Chvatal and Gomory). Three rows with weights of a half are the subset-row cuts of `cuts`;
the weights for four and five rows that cut off most are those of Pecin, Pessoa, Poggi, Uchoa and Santos, "Limited
memory rank-1 cuts for vehicle routing problems", Operations Research Letters 2017. Rows are jobs and crews.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

WEIGHTS = (
    ((2, 1, 1, 1), 3),
    ((1, 1, 1, 1, 1), 3),
    ((2, 2, 1, 1, 1), 4),
    ((3, 1, 1, 1, 1), 4),
    ((3, 2, 2, 1, 1), 5),
    ((1, 1, 1, 1, 1), 2),
    ((2, 2, 1, 1, 1), 3),
    ((3, 3, 2, 2, 1), 4),
)
MOST_STARTS = 12
MOST_SWEEPS = 2
LEAST_VIOLATION = 0.03


@dataclass(frozen=True, slots=True)
class RankOneCut:
    """Rows with their weights `parts` / `whole`."""

    rows: tuple[int, ...]
    parts: tuple[int, ...]
    whole: int

    @property
    def most(self) -> int:
        """How much all routes of a plan may use up together."""
        return sum(self.parts) // self.whole

    def share(self, route: Sequence[int]) -> int:
        """How much a route uses up."""
        return sum(part * route.count(row) for row, part in zip(self.rows, self.parts, strict=True)) // self.whole


def violated_rank_one(
    columns: Sequence[tuple[tuple[int, ...], float]], barred: Collection[int], most: int
) -> list[RankOneCut]:
    """Cuts that these routes, with their shares in the linear program, break most. No cut holds a barred row."""
    mixed = [(route, share) for route, share in columns if share < 1 - 1e-6]
    rows = sorted({row for route, _ in mixed for row in route if row not in barred})
    if not rows:
        return []
    held = np.array([[float(row in route) for row in rows] for route, _ in mixed])
    shares = np.array([share for _, share in mixed])
    found: dict[RankOneCut, float] = {}
    for parts, whole in WEIGHTS:
        if len(parts) <= len(rows):
            for chosen, broken in _climbs(held, shares, np.array(parts), whole):
                order = sorted(zip(chosen, parts, strict=True))
                cut = RankOneCut(tuple(rows[i] for i, _ in order), tuple(part for _, part in order), whole)
                found[cut] = broken
    best = sorted(found, key=lambda cut: (-round(found[cut], 9), cut.rows, cut.parts))
    return best[:most]


def _climbs(held: Floats, shares: Floats, parts: Floats, whole: int) -> Iterator[tuple[list[int], float]]:
    """Row sets that are broken by more than a little, from some starts by swaps of single rows."""
    most = int(parts.sum()) // whole
    together = held.T @ (held * shares[:, None])
    np.fill_diagonal(together, 0)
    for start in np.argsort(-together.sum(axis=1), kind="stable")[:MOST_STARTS].tolist():
        rows = _near(together, start, len(parts))
        used = _climb(held, shares, parts, whole, rows)
        if used > most + LEAST_VIOLATION:
            yield rows, used - most


def _near(together: Floats, start: int, size: int) -> list[int]:
    """Rows that are in the same routes as the first one, and as each other."""
    rows = [start]
    while len(rows) < size:
        bond = together[rows].sum(axis=0)
        bond[rows] = -1
        rows.append(int(np.argmax(bond)))
    return rows


def _climb(held: Floats, shares: Floats, parts: Floats, whole: int, rows: list[int]) -> float:
    """Swap single rows for better ones, in place; what the routes then use up."""
    now = float(shares @ np.floor(held[:, rows] @ parts / whole + 1e-9))
    for _ in range(MOST_SWEEPS):
        before = now
        for at in range(len(rows)):
            others = held[:, rows[:at] + rows[at + 1 :]] @ np.delete(parts, at)
            used = shares @ np.floor((others[:, None] + held * parts[at]) / whole + 1e-9)
            used[rows[:at] + rows[at + 1 :]] = -1
            best = int(np.argmax(used))
            if used[best] > now + 1e-9:
                rows[at], now = best, float(used[best])
        if now == before:
            break
    return now
