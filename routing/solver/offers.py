"""Routes that annealing met: too many for the linear program, so only those that pay at its prices go in."""

import numpy as np

from .master import Column
from .model import Ints

MOST_OFFERS = 20_000
"""When there are more, only the best half is kept."""


class Offers:
    """Routes with their exact worth, the best order of each set of jobs, as arrays that are priced at once."""

    def __init__(self, job_count: int):
        self._job_count = job_count
        self._columns: list[Column] = []
        self._index: dict[tuple[int, tuple[int, ...]], int] = {}
        self._jobs: Ints = np.zeros((0, 0), np.int64)
        self._groups: Ints = np.zeros(0, np.int64)
        self._ticks: Ints = np.zeros(0, np.int64)
        self._packed = 0

    def __len__(self) -> int:
        return len(self._columns)

    def add(self, column: Column) -> None:
        """Keep a route unless the same jobs are known with at least this worth."""
        key = (column.group, tuple(sorted(column.jobs)))
        known = self._index.get(key)
        if known is None:
            self._index[key] = len(self._columns)
            self._columns.append(column)
        elif self._columns[known].ticks < column.ticks:
            self._columns[known] = column
            self._packed = min(self._packed, known)

    def best(self, jobs: Ints, groups: Ints, floor: int, most: int) -> list[Column]:
        """Up to `most` routes worth more than `floor` ticks above what their jobs and crew cost, the best first."""
        won = self._won(jobs, groups)
        order = np.argsort(-won, kind="stable")[:most]
        return [self._columns[i] for i in order[won[order] > floor].tolist()]

    def thin_out(self, jobs: Ints, groups: Ints) -> None:
        """Forget the worse half at these prices where there are too many."""
        if len(self._columns) > MOST_OFFERS:
            kept = np.sort(np.argsort(-self._won(jobs, groups), kind="stable")[: MOST_OFFERS // 2])
            self._columns = [self._columns[i] for i in kept.tolist()]
            self._index = {(column.group, tuple(sorted(column.jobs))): i for i, column in enumerate(self._columns)}
            self._packed = 0

    def _won(self, jobs: Ints, groups: Ints) -> Ints:
        self._pack()
        costs = np.append(jobs, 0)
        return np.asarray(self._ticks - costs[self._jobs].sum(axis=1) - groups[self._groups])

    def _pack(self) -> None:
        """Bring the arrays up to date; a row of jobs is filled up with one that costs nothing."""
        fresh = self._columns[self._packed :]
        width = max([self._jobs.shape[1], *(len(column.jobs) for column in fresh)])
        rows = np.full((len(self._columns), width), self._job_count, np.int64)
        rows[: self._packed, : self._jobs.shape[1]] = self._jobs[: self._packed]
        for row, column in zip(rows[self._packed :], fresh, strict=True):
            row[: len(column.jobs)] = column.jobs
        self._jobs = rows
        old = self._packed
        self._groups = np.append(self._groups[:old], [column.group for column in fresh]).astype(np.int64)
        self._ticks = np.append(self._ticks[:old], [column.ticks for column in fresh]).astype(np.int64)
        self._packed = len(self._columns)
