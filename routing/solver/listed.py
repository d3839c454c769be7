"""The proof when every route that a better plan could hold is on a list.

Routes need not be looked for any more, only picked from the list, so the linear program over it is solved in no
time, and cuts cost nothing: none has to be known to pricing, and none has to forget. Each bound takes routes off the
list that lie further below it than the best plan, until so few are left that whole routes can be chosen among them.
(After Baldacci, Christofides and Mingozzi, "An exact algorithm for the vehicle routing problem based on the set
partitioning formulation with additional cuts", Mathematical Programming 2008.)
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from .cuts import violated
from .master import Column, Master, Prices, largest_shares
from .model import Ints
from .pricing import SLACK_TICKS
from .pricing_kernel import Flags
from .rank_one import RankOneCut, violated_rank_one

MOST_TAKEN = 200
"""Routes that go from the list into the linear program at once."""
MOST_LISTED_CUTS = 400
MOST_NEW_LISTED_CUTS = 40
MOST_NEW_WIDE_CUTS = 20
"""Where fewer cuts over three rows are found, wider ones are looked for."""
KEPT = 800
"""So many of the best stay on the list even if they are ruled out, for plans that are worth less than asked for."""
WORTH_NARROWING = 0.9
LEAST_GAIN = 0.03
"""A bound that closes less of the gap than this share has stalled."""


@dataclass(frozen=True, slots=True)
class Part:
    """Routes of the list."""

    columns: list[Column]
    cuts: list[tuple[Ints, int]]
    """How much each of them uses up of the cuts that had a price in the last round, and how much all may."""
    floor: int | None
    """No plan with another listed route is worth more than these ticks; None where there is none."""


class ListedRoutes:
    """The list, its linear program with cuts, and the best bound on any plan made of listed routes."""

    def __init__(
        self,
        columns: Sequence[Column],
        sizes: Sequence[int],
        job_count: int,
        fixed: Collection[int],
        stop: Flags | None = None,
    ):
        """Once `stop[0]` is set, from another thread, a round ends with a bound that is valid but no better."""
        self._stop: Flags = np.zeros(1, np.bool_) if stop is None else stop
        self.bound: int | None = None
        self.stalled = False
        self._sizes, self._fixed = sizes, fixed
        self._job_count, self._row_count = job_count, job_count + len(sizes)
        self._columns = [self._with_crew(column) for column in columns]
        self._master: Master[RankOneCut] = Master(self._row_count, sizes)
        self._in_program: list[Column] = []
        self._cuts: list[RankOneCut] = []
        self._shares: list[Ints] = []
        self._priced: list[int] = []
        self._left, self._here = len(columns), 0
        """Routes not ruled out, the bound at the prices of the last round, and how far below the best of its class each
        route is at these.
        """
        self._lost: Ints = np.zeros(len(columns), np.int64)
        self._arrange()
        self._taken = np.zeros(len(columns), np.bool_)

    def __len__(self) -> int:
        """Routes that a plan worth more than asked for may still hold."""
        return self._left

    def part(self, most: int) -> "Part":
        """The routes that lose least at the prices of the last round, about so many."""
        if len(self._columns) <= most:
            return self._part(self._lost >= 0, None)
        limit = int(np.partition(self._lost, most)[most])
        return self._part(self._lost < limit, self._here - limit)

    def dive(self) -> list[Column]:
        """A plan of listed routes: the largest shares of the linear program are made whole, one after the other."""
        whole: list[int] = []
        free = np.ones(len(self._columns), np.bool_)
        try:
            while more := self._to_make_whole(free, whole):
                for index in more:
                    self._master.fix(index)
                    free &= ~np.isin(self._jobs, self._in_program[index].jobs).any(axis=1)
                whole += more
                free &= self._has_room([self._in_program[index].group for index in whole])[self._groups]
        finally:
            self._master.release()
        return [self._without_crew(self._in_program[index]) for index in whole]

    def _to_make_whole(self, free: Flags, whole: Sequence[int]) -> list[int]:
        return largest_shares({i: share for i, share in self._prices(free).used if i not in whole})

    def _has_room(self, groups: Sequence[int]) -> Flags:
        """[group] whether a class has crews left beside those of these routes."""
        return np.array([groups.count(g) < size for g, size in enumerate(self._sizes)], np.bool_)

    def _part(self, kept: Flags, floor: int | None) -> "Part":
        columns = [self._without_crew(self._columns[i]) for i in np.flatnonzero(kept).tolist()]
        return Part(columns, [(self._shares[c][kept], self._cuts[c].most) for c in self._priced], floor)

    def _with_crew(self, column: Column) -> Column:
        if self._sizes[column.group] > 1:
            return column
        return Column(column.group, (*column.jobs, self._job_count + column.group), column.ticks)

    def _without_crew(self, column: Column) -> Column:
        return Column(column.group, tuple(job for job in column.jobs if job < self._job_count), column.ticks)

    def round(self, value: int) -> int:
        """A bound on every plan worth more than `value`; the list loses what it rules out, and new cuts are found."""
        prices = self._prices()
        before = self.bound
        won = self._won(prices)
        self._priced = np.flatnonzero(prices.cuts).tolist()
        self._here = here = self._bound_at(prices, won)
        self._lost = self._most_of_class(won)[self._groups] - won
        self.bound = here if before is None else min(here, before)
        self.stalled = before is not None and before - self.bound < LEAST_GAIN * (before - value)
        self._narrow(here - value)
        if not self._stop[0]:
            self._cut(prices)
        return self.bound

    def _prices(self, free: Flags | None = None) -> Prices:
        """Prices at which no route of the list, or none that is free, is worth more than it costs."""
        while True:
            prices = self._master.prices()
            won = self._won(prices) - prices.groups[self._groups]
            won[self._taken] = 0
            if free is not None:
                won[~free] = 0
            best = np.argsort(-won, kind="stable")[:MOST_TAKEN]
            best = best[won[best] > SLACK_TICKS]
            if not len(best) or self._stop[0]:
                return prices
            self._taken[best] = True
            for i in best.tolist():
                self._master.add(self._columns[i])
                self._in_program.append(self._columns[i])

    def _won(self, prices: Prices) -> Ints:
        """What each route is worth above the price of its jobs and cuts."""
        won = self._ticks - np.append(prices.jobs, 0)[self._jobs].sum(axis=1)
        for share, price in zip(self._shares, prices.cuts.tolist(), strict=True):
            if price:
                won -= price * share
        return np.asarray(won)

    def _bound_at(self, prices: Prices, won: Ints) -> int:
        """Lagrange's bound in whole ticks, as in `colgen`."""
        due = sum(cut.most * int(price) for cut, price in zip(self._cuts, prices.cuts, strict=True))
        most = int((self._most_of_class(won) * np.array(self._sizes)).sum())
        return int(prices.jobs.sum()) + due + most

    def _most_of_class(self, won: Ints) -> Ints:
        most = np.zeros(len(self._sizes), np.int64)
        np.maximum.at(most, self._groups, won)
        return most

    def _narrow(self, gap: int) -> None:
        """Take off the list what no plan within the gap of the bound can hold at these prices, but for the best."""
        self._left = int((self._lost <= gap).sum())
        most = min(KEPT, len(self._lost)) - 1
        kept = self._lost <= max(gap, int(np.partition(self._lost, most)[most]) if most >= 0 else 0)
        if kept.sum() >= WORTH_NARROWING * len(kept):
            return
        self._columns = [column for column, is_kept in zip(self._columns, kept.tolist(), strict=True) if is_kept]
        self._shares = [share[kept] for share in self._shares]
        self._taken, self._lost = self._taken[kept], self._lost[kept]
        self._arrange()

    def _cut(self, prices: Prices) -> None:
        """Cuts that hold three rows; where there are few, some that hold four or five."""
        routes = self._master.routes
        used = [(routes[i], share) for i, share in prices.used]
        most = min(MOST_NEW_LISTED_CUTS, MOST_LISTED_CUTS - len(self._shares))
        found = [RankOneCut(cut.jobs, (1, 1, 1), 2) for cut in violated(used, self._fixed, most)]
        if len(found) < MOST_NEW_WIDE_CUTS:
            found += violated_rank_one(used, self._fixed, MOST_NEW_WIDE_CUTS - len(found))
        for cut in found:
            self._master.cut(cut)
            self._cuts.append(cut)
            self._shares.append(self._share_of(cut))
        self.stalled |= not found

    def _share_of(self, cut: RankOneCut) -> Ints:
        """How much each route uses up of a cut."""
        weight = np.zeros(self._row_count + 1, np.int64)
        weight[list(cut.rows)] = cut.parts
        return np.asarray(weight[self._jobs].sum(axis=1) // cut.whole)

    def _arrange(self) -> None:
        """The list as arrays; a row of jobs is filled up with one that costs nothing."""
        width = max((len(column.jobs) for column in self._columns), default=0)
        self._jobs: Ints = np.full((len(self._columns), width), self._row_count, np.int64)
        for row, column in zip(self._jobs, self._columns, strict=True):
            row[: len(column.jobs)] = column.jobs
        self._groups: Ints = np.array([column.group for column in self._columns], np.int64)
        self._ticks: Ints = np.array([column.ticks for column in self._columns], np.int64)
