"""Column generation: prices from the linear program, better routes at these prices, and a bound.

For any prices p >= 0 of the jobs, no plan is worth more than

    sum over jobs of p_j  +  sum over classes of size x max(0, most that a route is worth at p)

(Lagrange: paying p_j for each job not done can only help). Pricing gives the second part for
ng-routes, which are more than the real routes, so the bound is valid at every round, whatever the
linear program says; all of it is whole ticks, so no rounding enters.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from .classes import ClassPricing, crew_classes
from .compiled import Day
from .master import Column, Master, Prices
from .model import Ints, Model
from .pricing import Priced, best_routes
from .pricing_kernel import Words

NG_SIZE = 8
MOST_NEW = 40


@dataclass(frozen=True, slots=True)
class BoundAt:
    """A valid bound and the prices that prove it."""

    ticks: int
    jobs: Ints
    groups: Ints
    """[group] the most that a route of the class is worth at these prices, or 0."""


class ColumnGeneration:
    """The routes known so far, their linear program, and the best bound proved."""

    def __init__(self, model: Model, day: Day):
        self.model, self.day = model, day
        self.groups = [ClassPricing(model, day, group) for group in crew_classes(model, day)]
        self.sizes = [pricing.group.size for pricing in self.groups]
        self.group_of = {k: g for g, p in enumerate(self.groups) for k in p.group.crews}
        self.columns: list[Column] = []
        self.prices: Prices | None = None
        self.best: BoundAt | None = None
        self.keeps = ng_sets(model, day, NG_SIZE)
        self._index: dict[tuple[int, tuple[int, ...]], int] = {}
        self._master = Master(model.job_count, self.sizes)
        self.rounds = 0

    def add(self, group: int, route: tuple[int, ...], ticks: int) -> bool:
        """Add a route unless the same jobs are known with at least this worth."""
        key = (group, tuple(sorted(route)))
        known = self._index.get(key)
        if known is not None and self.columns[known].ticks >= ticks:
            return False
        if known is not None:
            self._master.switch_off(known)
        self._index[key] = len(self.columns)
        column = Column(group, route, ticks)
        self.columns.append(column)
        self._master.add(column)
        return True

    def known(self) -> list[Column]:
        """Real routes, the best order of each set of jobs."""
        return [self.columns[i] for i in self._index.values() if self.columns[i].elementary]

    def round(self, over: Callable[[], bool] = lambda: False) -> bool:
        """Prices, then new routes for each class. False when no class has a better route."""
        self.rounds += 1
        self.prices = prices = self._master.prices()
        results, grown = [], False
        for g, pricing in enumerate(self.groups):
            if over():
                return True
            floor = int(prices.groups[g])
            priced = best_routes(pricing, self.day, self.keeps, prices.jobs, floor, MOST_NEW)
            results.append(priced)
            for route, worth in priced.routes:
                grown |= self.add(g, route, worth + int(prices.jobs[list(route)].sum()))
        self._improve_bound(prices.jobs, results)
        return grown

    def break_cycles(self) -> bool:
        """Forbid the cycles of the routes in the linear program; False if it uses none."""
        assert self.prices is not None
        cyclic = [self.columns[i] for i, _ in self.prices.used if not self.columns[i].elementary]
        before = self.keeps.copy()
        for column in cyclic:
            remember(self.keeps, column.jobs)
        if not cyclic or (before == self.keeps).all():
            return False
        for key, index in list(self._index.items()):
            if not ng_route(self.keeps, self.columns[index].jobs):
                self._master.switch_off(index)
                del self._index[key]
        return True

    def _improve_bound(self, jobs: Ints, results: Iterable[Priced]) -> None:
        worths = np.array([max(0, priced.most_ticks) for priced in results], np.int64)
        ticks = int(jobs.sum()) + sum(int(worth) * size for worth, size in zip(worths, self.sizes, strict=True))
        if self.best is None or ticks < self.best.ticks:
            self.best = BoundAt(ticks, jobs, worths)


def ng_sets(model: Model, day: Day, size: int) -> Words:
    """[j, words] for each job the jobs that a visit to it does not let a route forget: the nearest.

    Jobs without any time on site keep everything, so that no route can turn in no time.
    """
    count = model.job_count
    words = (count + 63) // 64
    keeps = np.zeros((count, max(words, 1)), np.uint64)
    places = model.job_place
    drive = model.minutes[np.ix_(places, places)]
    for j in range(count):
        both = drive[j] + drive[:, j]
        both[j] = -1
        for other in np.argsort(both, kind="stable")[:size].tolist():
            keeps[j, other >> 6] |= np.uint64(1) << np.uint64(other & 63)
        if day.service[:, j].min(initial=1) == 0:
            keeps[j] = ~np.uint64(0)
    return keeps


def remember(keeps: Words, route: tuple[int, ...]) -> None:
    """Enlarge the ng-sets so that the cycles of this route are forbidden."""
    last: dict[int, int] = {}
    for at, job in enumerate(route):
        for between in route[last.get(job, at) + 1 : at]:
            keeps[between, job >> 6] |= np.uint64(1) << np.uint64(job & 63)
        last[job] = at


def ng_route(keeps: Words, route: tuple[int, ...]) -> bool:
    """Whether the route is still allowed: it never comes to a job that it has not forgotten."""
    kept: set[int] = set()
    for job in route:
        if job in kept:
            return False
        kept = {j for j in kept if keeps[job, j >> 6] >> np.uint64(j & 63) & np.uint64(1)} | {job}
    return True
