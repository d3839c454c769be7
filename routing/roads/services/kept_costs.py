"""Drive costs that were computed before, kept in the database by place.

A row holds the costs from one place to some others, or from those back to it, as three columns of numbers: a table of
150 places is 150 rows, and one more place adds one row for the way out and one for the way back.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from routing.roads.domain.raw import Ints
from routing.roads.domain.snapping import Snap
from routing.roads.models import DriveRow

UNKNOWN = -2
NUMBER, COST = np.dtype("<i8"), np.dtype("<i4")

Costs = tuple[Ints, Ints]
Key = tuple[str, str]
"""The version of the map, and the key of the speeds."""
Search = Callable[[Sequence[Snap], Sequence[Snap]], Costs]


def remembered_costs(
    key: Key, starts: Sequence[Snap], ends: Sequence[Snap], search: Search, *, keep: bool = True
) -> Costs:
    """(milliseconds, decimetres) [start, end], -1 for no way; only what the database lacks is searched, and kept."""
    table = _Table.between(_Places.of(starts), _Places.of(ends))
    table.read(key)
    new = table.fill(search)
    if keep:
        DriveRow.objects.bulk_create(_row(key, each) for each in new)
    return table.spread()


@dataclass(frozen=True)
class _Places:
    """Each snap once, by ascending number; `at` is where each of those asked for stands among them."""

    snaps: list[Snap]
    numbers: Ints
    at: Ints

    @classmethod
    def of(cls, asked: Sequence[Snap]) -> "_Places":
        numbers = np.array([snap.number for snap in asked], np.int64)
        each, first, at = np.unique(numbers, return_index=True, return_inverse=True)
        return cls([asked[k] for k in first], each, at)

    def find(self, numbers: Ints) -> tuple[Ints, "np.ndarray"]:
        """Where these numbers stand, and which of them are here at all."""
        if not len(self.numbers):
            return np.zeros(len(numbers), np.int64), np.zeros(len(numbers), bool)
        place = np.minimum(np.searchsorted(self.numbers, numbers), len(self.numbers) - 1)
        return place, self.numbers[place] == numbers


@dataclass(frozen=True)
class _New:
    """What is to be kept: costs from a place to others, or (`is_back`) from others to it."""

    place: int
    is_back: bool
    others: Ints
    milliseconds: Ints
    decimetres: Ints


@dataclass(frozen=True)
class _Table:
    """Costs [start, end] between places, filled from the database and by searching."""

    starts: _Places
    ends: _Places
    ms: Ints
    dm: Ints

    @classmethod
    def between(cls, starts: _Places, ends: _Places) -> "_Table":
        size = (len(starts.snaps), len(ends.snaps))
        return cls(starts, ends, np.full(size, UNKNOWN, np.int64), np.full(size, UNKNOWN, np.int64))

    def read(self, key: Key) -> None:
        version, speeds = key
        known = DriveRow.objects.filter(version=version, speeds=speeds)
        for is_back, mine, others in ((False, self.starts, self.ends), (True, self.ends, self.starts)):
            rows = known.filter(is_back=is_back, place__in=mine.numbers.tolist())
            ms, dm = (self.ms.T, self.dm.T) if is_back else (self.ms, self.dm)
            for place, numbers, milliseconds, decimetres in rows.values_list(
                "place", "others", "milliseconds", "decimetres"
            ):
                at, is_here = others.find(np.frombuffer(numbers, NUMBER))
                line = int(np.searchsorted(mine.numbers, place))
                ms[line, at[is_here]] = np.frombuffer(milliseconds, COST)[is_here]
                dm[line, at[is_here]] = np.frombuffer(decimetres, COST)[is_here]

    def fill(self, search: Search) -> list[_New]:
        """Search what is missing, by whole rows where these are fewer than whole columns; what is to be kept of it."""
        missing = self.ms == UNKNOWN
        if missing.all(axis=1).sum() <= missing.all(axis=0).sum():
            return _filled(self, missing, search, is_back=False)
        turned = _Table(self.ends, self.starts, self.ms.T, self.dm.T)
        return _filled(turned, missing.T, lambda ends, starts: _turned(search(starts, ends)), is_back=True)

    def put(self, search: Search, rows: Ints, columns: Ints) -> None:
        """Search the costs of these rows to these columns."""
        if not len(rows) or not len(columns):
            return
        found = search([self.starts.snaps[a] for a in rows], [self.ends.snaps[b] for b in columns])
        cells = np.ix_(rows, columns)
        self.ms[cells], self.dm[cells] = found

    def spread(self) -> Costs:
        """The costs in the order that was asked for."""
        cells = np.ix_(self.starts.at, self.ends.at)
        return self.ms[cells], self.dm[cells]


def _filled(table: _Table, missing: "np.ndarray", search: Search, *, is_back: bool) -> list[_New]:
    """Rows that lack every cell are searched and kept as rows, the cells that are left as parts of columns."""
    whole = np.flatnonzero(missing.all(axis=1))
    left = missing.copy()
    left[whole] = False
    columns = np.flatnonzero(left.any(axis=0))
    table.put(search, whole, np.arange(missing.shape[1]))
    table.put(search, np.flatnonzero(left.any(axis=1)), columns)
    starts, ends = table.starts.numbers, table.ends.numbers
    rows = [_New(int(starts[row]), is_back, ends, table.ms[row], table.dm[row]) for row in whole]
    parts = ((column, left[:, column]) for column in columns)
    return rows + [
        _New(int(ends[column]), not is_back, starts[part], table.ms[part, column], table.dm[part, column])
        for column, part in parts
    ]


def _turned(costs: Costs) -> Costs:
    return costs[0].T, costs[1].T


def _row(key: Key, new: _New) -> DriveRow:
    return DriveRow(
        version=key[0],
        speeds=key[1],
        place=new.place,
        is_back=new.is_back,
        others=new.others.astype(NUMBER).tobytes(),
        milliseconds=new.milliseconds.astype(COST).tobytes(),
        decimetres=new.decimetres.astype(COST).tobytes(),
    )
