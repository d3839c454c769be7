"""Subset-row cuts: of three jobs, at most one route can do two.

In whole routes, sum over routes of floor(visits to the three / 2) x_r <= 1, for any three jobs; the
linear program breaks that when it mixes routes by halves (Jepsen, Petersen, Spoorendonk and Pisinger,
"Subset-Row Inequalities Applied to the Vehicle-Routing Problem with Time Windows", Operations Research
2008). A cut remembers a first visit only as long as the route stays among some jobs, its memory
(Pecin, Pessoa, Poggi and Uchoa, "Improved branch-cut-and-price for capacitated vehicle routing",
Mathematical Programming Computation 2017): forgetting can only lower a route's share in the cut, so the
cut stays valid and pricing stays quick.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from .model import Ints
from .pricing_kernel import CutPrices

MOST_CUTS = 64
MOST_NEW_CUTS = 16
LEAST_VIOLATION = 0.02


@dataclass(frozen=True, slots=True)
class Cut:
    """Three jobs and the jobs among which a route remembers having done one of them."""

    jobs: tuple[int, int, int]
    memory: frozenset[int]

    @property
    def most(self) -> int:
        """How much all routes of a plan may use up together."""
        return 1

    def share(self, route: Sequence[int]) -> int:
        """How often the route uses the cut up: pairs of visits that it remembers."""
        visits, pairs = 0, 0
        for job in route:
            if job not in self.memory:
                visits = 0
            if job in self.jobs:
                visits += 1
            if visits == 2:
                visits, pairs = 0, pairs + 1
        return pairs

    def whole_share(self, route: Sequence[int]) -> int:
        """The same with a memory that never fades."""
        return sum(route.count(job) for job in self.jobs) // 2


def violated(columns: Sequence[tuple[tuple[int, ...], float]], barred: Collection[int], most: int) -> list[Cut]:
    """Cuts that these routes, with their shares in the linear program, break most; memories as needed.

    No cut holds a barred job.
    """
    together: dict[tuple[int, int], float] = {}
    for route, share in columns:
        for pair in combinations(sorted(set(route)), 2):
            together[pair] = together.get(pair, 0.0) + share
    near: dict[int, set[int]] = {}
    for a, b in together:
        near.setdefault(a, set()).add(b)
        near.setdefault(b, set()).add(a)
    held: dict[int, set[int]] = {}
    for index, (route, _) in enumerate(columns):
        for job in route:
            held.setdefault(job, set()).add(index)
    triples = {
        tuple(sorted((a, b, c)))
        for (a, b), share in together.items()
        if share < 1 - 1e-6
        for c in near[a] | near[b]
        if c not in (a, b)
    }
    found = []
    for triple in triples:
        if any(job in barred for job in triple):
            continue
        involved = held[triple[0]] | held[triple[1]] | held[triple[2]]
        total = sum(columns[i][1] * (sum(columns[i][0].count(j) for j in triple) // 2) for i in sorted(involved))
        if total > 1 + LEAST_VIOLATION:
            found.append((-round(total, 9), triple))
    chosen = spread(sorted(found), most)
    return [Cut(triple, _memory(triple, columns)) for triple in chosen]


def spread(found: Iterable[tuple[float, tuple[int, ...]]], most: int) -> list[tuple[int, int, int]]:
    """The first ones, no job in more than a few of them."""
    chosen: list[tuple[int, int, int]] = []
    used: dict[int, int] = {}
    for _, (a, b, c) in found:
        if len(chosen) == most:
            break
        if max(used.get(job, 0) for job in (a, b, c)) < 4:
            chosen.append((a, b, c))
            for job in (a, b, c):
                used[job] = used.get(job, 0) + 1
    return chosen


def _memory(triple: tuple[int, int, int], columns: Sequence[tuple[tuple[int, ...], float]]) -> frozenset[int]:
    """The three, and all jobs between two visits to them in the routes at hand."""
    memory = set(triple)
    for route, _ in columns:
        at = [i for i, job in enumerate(route) if job in triple]
        for first, second in list(zip(at, at[1:], strict=False))[::2]:
            memory.update(route[first:second])
    return frozenset(memory)


def cut_prices(cuts: Sequence[Cut], ticks: Sequence[int], job_count: int, *, forgetful: bool = True) -> CutPrices:
    """What pricing needs of the cuts that have a price."""
    priced = [(cut, price) for cut, price in zip(cuts, ticks, strict=True) if price > 0]
    holds, keeps = np.zeros(job_count, np.uint64), np.zeros(job_count, np.uint64)
    for c, (cut, _) in enumerate(priced):
        bit = np.uint64(1) << np.uint64(c)
        holds[list(cut.jobs)] |= bit
        keeps[list(cut.memory) if forgetful else slice(None)] |= bit
    values: Ints = np.array([price for _, price in priced], np.int64)
    return CutPrices(holds, keeps, values)
