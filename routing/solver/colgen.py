"""Column generation: prices from the linear program, better routes at these prices, and a bound.

For any prices p >= 0 of the jobs and c >= 0 of the cuts, no plan is worth more than

    sum of p_j  +  sum of c_i  +  sum over classes of size x max(0, most that a route is worth at p and c)

(Lagrange: paying p_j for each job not done can only help, and no plan uses a cut up more than once).
Pricing gives the last part for ng-routes, which are more than the real routes, so the bound is valid at
every round, whatever the linear program says; all of it is whole ticks, so no rounding enters.

The program's own prices swing wildly while it knows few routes. So routes are priced between them and
the prices of the best bound (Wentges, "Weighted Dantzig-Wolfe decomposition for linear mixed-integer
programming", International Transactions in Operational Research 1997).
"""

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from .classes import ClassPricing, crew_classes
from .compiled import Day
from .cuts import MOST_CUTS, MOST_NEW_CUTS, Cut, cut_prices, violated
from .first_prices import first_prices
from .master import Column, Master, Prices, largest_shares
from .model import Ints, Model
from .offers import Offers
from .pricing import SLACK_TICKS, Priced, best_routes
from .pricing_kernel import CutPrices, Flags, Words

NG_SIZE = 8
MOST_NEW = 40
OFFER_TURNS = 3
MOST_OFFERED = 100
"""Routes of annealing that go into the linear program at once."""
TOWARDS_BOUND = 0.6
"""How far the prices are drawn from the program's own to those of the best bound."""


@dataclass(frozen=True, slots=True)
class BoundAt:
    """A valid bound and the prices that prove it."""

    ticks: int
    jobs: Ints
    groups: Ints
    """[group] the most that a route of the class is worth at these prices, or 0."""
    cuts: tuple[tuple[Cut, int], ...]
    """Cuts and their prices."""

    def reduced(self, column: Column) -> int:
        """Ticks that a route is worth at these prices, at most; a route may not forget a cut."""
        due = sum(price * cut.whole_share(column.jobs) for cut, price in self.cuts)
        return column.ticks - int(self.jobs[list(column.jobs)].sum()) - due


@dataclass(frozen=True, slots=True)
class _Point:
    """Prices at which routes are looked for."""

    jobs: Ints
    groups: Ints
    cuts: tuple[tuple[Cut, int], ...]

    def due(self, route: Sequence[int]) -> int:
        """What a route pays for its jobs and cuts."""
        return int(self.jobs[list(route)].sum()) + sum(price * cut.share(route) for cut, price in self.cuts)


class ColumnGeneration:
    """The routes known so far, their linear program, and the best bound proved."""

    def __init__(self, model: Model, day: Day):
        self.model, self.day = model, day
        self.stop = np.zeros(1, np.bool_)
        """Set from another thread when time is over: what is being priced then counts for nothing."""
        self.groups = [ClassPricing(model, day, group, self.stop) for group in crew_classes(model, day)]
        self.sizes = [pricing.group.size for pricing in self.groups]
        self.group_of = {k: g for g, p in enumerate(self.groups) for k in p.group.crews}
        self.columns: list[Column] = []
        self.prices: Prices | None = None
        self.best: BoundAt | None = None
        self.keeps = ng_sets(model, day, NG_SIZE)
        self.offers = Offers(model.job_count)
        self._index: dict[tuple[int, tuple[int, ...]], int] = {}
        self._master: Master[Cut] = Master(model.job_count, self.sizes)
        self._drawn = TOWARDS_BOUND
        self.fixed = frozenset(job for prefix in model.prefix for job in prefix)
        self.threads = ThreadPoolExecutor(len(os.sched_getaffinity(0)))
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

    def within(self, gap: int, most: int) -> list[Column]:
        """The best real routes that a plan within `gap` of the bound can hold, at most so many."""
        best = self.best
        assert best is not None
        known = [self.columns[i] for i in self._index.values() if self.columns[i].elementary]
        known += self.offers.best(best.jobs, best.groups, -gap - 1, most)
        lost = {column: int(best.groups[column.group]) - best.reduced(column) for column in known}
        return sorted((column for column in lost if lost[column] <= gap), key=lambda column: lost[column])[:most]

    def round(self) -> bool:
        """Prices, then new routes for each class. False when no class has a better route."""
        self.rounds += 1
        self.prices = prices = self._prices_with_offers()
        own = _Point(prices.jobs, prices.groups, _priced(self._master.cuts, prices.cuts))
        at = self._drawn_to_bound(own) if self.best else self._first_point()
        priced = self._price_classes(at, range(len(self.groups)))
        if priced is None:
            return True
        grown = False
        for g, result in enumerate(priced):
            for route, worth in result.routes:
                ticks = worth + at.due(route)
                better = ticks - own.due(route) > own.groups[g]
                grown |= self.add(g, route, ticks) and better
        self._improve_bound(at, priced)
        settled = at is own and not grown
        self._drawn = TOWARDS_BOUND if grown else 0.0
        return not settled

    def _prices_with_offers(self) -> Prices:
        """Prices at which few of the routes that annealing met are missing from the program."""
        prices = self._master.prices()
        for _ in range(OFFER_TURNS):
            paying = self.offers.best(prices.jobs, prices.groups, SLACK_TICKS, MOST_OFFERED)
            if not sum(self.add(column.group, column.jobs, column.ticks) for column in paying):
                break
            prices = self._master.prices()
        self.offers.thin_out(prices.jobs, prices.groups)
        return prices

    def dive(self) -> list[Column]:
        """A plan: the largest shares of the linear program are made whole, one step after the other.

        After each step new routes are looked for that go with the whole ones; without them little would go together
        on days of many short stops. (Sadykov, Vanderbeck, Pessoa, Tahiri and Uchoa, "Primal heuristics for
        branch-and-price: the assets of diving methods", INFORMS Journal on Computing 2019.)
        """
        whole: list[int] = []
        try:
            while not self.stop[0]:
                used = self._master.prices().used
                more = largest_shares({i: share for i, share in used if i not in whole and self.columns[i].elementary})
                if not more:
                    break
                for index in more:
                    self._master.fix(index)
                whole += more
                self._price_beside(whole)
        finally:
            self._master.release()
        return self.filled_up([self.columns[i] for i in whole])

    def filled_up(self, columns: Sequence[Column]) -> list[Column]:
        """These routes with the best real ones for the crews that are left, one after the other."""
        columns = list(columns)
        free = np.ones(self.model.job_count, np.bool_)
        nothing, uncut = np.zeros(self.model.job_count, np.int64), kernel_cuts((), self.model.job_count)
        never_forgetting = np.full_like(self.keeps, ~np.uint64(0))
        left = [g for g, size in enumerate(self.sizes) for _ in range(size)]
        for column in columns:
            left.remove(column.group)
            free[list(column.jobs)] = False
        for g in left:
            found = best_routes(self.groups[g], self.day, never_forgetting, nothing, uncut, 0, 1, free).routes
            for route, worth in found:
                columns.append(Column(g, route, worth))
                free[list(route)] = False
        return columns

    def _price_beside(self, whole: Sequence[int]) -> None:
        """New routes of the other crews, from the other jobs."""
        prices = self._master.prices()
        at = _Point(prices.jobs, prices.groups, _priced(self._master.cuts, prices.cuts))
        free = np.ones(self.model.job_count, np.bool_)
        free[[job for i in whole for job in self.columns[i].jobs]] = False
        out = [self.columns[i].group for i in whole]
        groups = [g for g, size in enumerate(self.sizes) if out.count(g) < size]
        for g, priced in zip(groups, self._price_classes(at, groups, free) or [], strict=False):
            for route, worth in priced.routes:
                self.add(g, route, worth + at.due(route))

    @property
    def cyclic(self) -> list[Column]:
        """The routes with cycles in the linear program's solution."""
        assert self.prices is not None
        return [self.columns[i] for i, _ in self.prices.used if not self.columns[i].elementary]

    def break_cycles(self) -> bool:
        """Forbid the cycles of the routes in the linear program; False if it uses none."""
        cyclic = self.cyclic
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

    def cut(self) -> bool:
        """Cut the solution of the linear program off; False if no cut does or there are too many."""
        assert self.prices is not None
        self._master.drop_idle_cuts()
        used = [(self.columns[i].jobs, share) for i, share in self.prices.used]
        most = min(MOST_NEW_CUTS, MOST_CUTS - len(self._master.cuts))
        cuts = violated(used, self.fixed, most)
        for cut in cuts:
            self._master.cut(cut)
        return len(cuts) > 0

    def _first_point(self) -> _Point:
        """Prices before the program's make sense, at which the routes known so far are to be beaten."""
        jobs, groups = first_prices(self.day), np.zeros(len(self.groups), np.int64)
        for column in self.columns:
            groups[column.group] = max(groups[column.group], column.ticks - jobs[list(column.jobs)].sum())
        return _Point(jobs, groups, ())

    def _drawn_to_bound(self, own: _Point) -> _Point:
        if self.best is None or not self._drawn:
            return own
        share, best = self._drawn, self.best
        theirs, ours = dict(best.cuts), dict(own.cuts)
        mixed = {cut: round(share * theirs.get(cut, 0) + (1 - share) * ours.get(cut, 0)) for cut in self._master.cuts}
        return _Point(
            np.rint(share * best.jobs + (1 - share) * own.jobs).astype(np.int64),
            np.rint(share * best.groups + (1 - share) * own.groups).astype(np.int64),
            tuple((cut, price) for cut, price in mixed.items() if price > 0),
        )

    def _price_classes(self, at: _Point, groups: Sequence[int], free: Flags | None = None) -> list[Priced] | None:
        """Classes at once on the processor's cores, in a fixed order; None if time is over."""
        cuts = kernel_cuts(at.cuts, self.model.job_count)

        def priced(g: int) -> Priced:
            return best_routes(self.groups[g], self.day, self.keeps, at.jobs, cuts, int(at.groups[g]), MOST_NEW, free)

        results = list(self.threads.map(priced, groups))
        return None if self.stop[0] else results

    def _improve_bound(self, at: _Point, results: Sequence[Priced]) -> None:
        worths = np.array([max(0, priced.most_ticks) for priced in results], np.int64)
        ticks = int(at.jobs.sum()) + sum(price for _, price in at.cuts)
        ticks += sum(int(worth) * size for worth, size in zip(worths, self.sizes, strict=True))
        if self.best is None or ticks < self.best.ticks:
            self.best = BoundAt(ticks, at.jobs, worths, at.cuts)


def _priced(cuts: Sequence[Cut], prices: Ints) -> tuple[tuple[Cut, int], ...]:
    return tuple((cut, price) for cut, price in zip(cuts, prices.tolist(), strict=True) if price > 0)


def kernel_cuts(cuts: Sequence[tuple[Cut, int]], job_count: int, *, forgetful: bool = True) -> CutPrices:
    """Cuts and their prices as pricing takes them."""
    return cut_prices([cut for cut, _ in cuts], [price for _, price in cuts], job_count, forgetful=forgetful)


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
