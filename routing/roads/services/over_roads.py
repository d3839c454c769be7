"""Drive times over a road graph, remembered in the database.

Imported only where there is a road map: it brings the compiler along.
"""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from routing.roads.domain import DriveTable, Point
from routing.roads.domain.graph import RoadGraph
from routing.roads.domain.matrix import table_of
from routing.roads.domain.raw import Ints
from routing.roads.domain.router import Router
from routing.roads.domain.snapping import Snap
from routing.roads.domain.speeds import HourClass
from routing.roads.models import DriveCell
from routing.roads.selectors import ANY_HOUR, DriveSpeeds, road_map_current
from routing.roads.services.store import graph_load, overlay_fetch
from shared.errors import NotFound

logger = logging.getLogger(__name__)
ROADS = "roads ({source})"
ROWS_AT_ONCE = 2_000

Costs = tuple[Ints, Ints]
Places = tuple[Sequence[Snap], Sequence[Snap]]


@dataclass(frozen=True)
class RoadsInUse:
    """The current graph and how pages name it."""

    graph: RoadGraph
    label: str


def roads_in_use() -> RoadsInUse | None:
    """The road graph that plans are made on; None where there is none or its file is gone."""
    current = road_map_current()
    if current is None:
        return None
    try:
        return RoadsInUse(graph_load(current.version), ROADS.format(source=current.source)[:40])
    except NotFound as error:
        logger.warning("roads: %s", error.message)
        return None


@dataclass(frozen=True)
class Roads:
    """Drive times over a road graph at the speeds of the day."""

    graph: RoadGraph
    label: str
    speeds: DriveSpeeds = ANY_HOUR
    remember: bool = False
    keep: bool = False

    def table(self, points: Sequence[Point]) -> DriveTable:
        snaps = [self.graph.snap(point) for point in points]
        known = [snap for snap in snaps if snap is not None]
        ms, dm = self._costs(known, has_yard=bool(snaps) and snaps[0] is not None)
        return table_of(points, snaps, ms, dm, self.label)

    def _costs(self, snaps: Sequence[Snap], *, has_yard: bool) -> Costs:
        """Costs between all, with the first one's row and column at the hours of leaving and returning."""
        ms, dm = (column.copy() for column in self._known(snaps, snaps, self.speeds.between))
        if has_yard and snaps:
            ms[0], dm[0] = (column[0] for column in self._known(snaps[:1], snaps, self.speeds.leaving))
            ms[:, 0], dm[:, 0] = (column[:, 0] for column in self._known(snaps, snaps[:1], self.speeds.returning))
        return ms, dm

    def _known(self, starts: Sequence[Snap], ends: Sequence[Snap], hour: HourClass) -> Costs:
        if self.remember:
            return remembered_costs(self.graph, hour, starts, ends, keep=self.keep)
        return _router(self.graph, hour).costs(starts, ends)


def remembered_costs(
    graph: RoadGraph, hour: HourClass, starts: Sequence[Snap], ends: Sequence[Snap], *, keep: bool = True
) -> Costs:
    """(milliseconds, decimetres) [start, end], -1 for no way; only what the database lacks is computed, and kept.

    One new place costs one row and one column, however many places there are.
    """
    ms, dm = np.full((len(starts), len(ends)), -2, np.int64), np.full((len(starts), len(ends)), -2, np.int64)
    row, column = _positions(starts), _positions(ends)
    for start, end, cell_ms, cell_dm in _cells(graph.version, hour.key, row, column):
        for a, b in product(row[start], column[end]):
            ms[a, b], dm[a, b] = (-1, -1) if cell_ms is None or cell_dm is None else (cell_ms, cell_dm)
    missing = ms == -2
    if missing.any():
        _fill(_router(graph, hour), (starts, ends), (ms, dm), missing)
        if keep:
            _store((graph.version, hour.key), (starts, ends), (ms, dm), missing)
    return ms, dm


def _fill(router: Router, places: Places, costs: Costs, missing: "np.ndarray") -> None:
    """Compute the missing cells by whole rows and columns."""
    ends = places[1]
    rows = np.flatnonzero(missing.all(axis=1))
    _put(router, places, costs, rows, np.arange(len(ends)))
    left = missing.copy()
    left[rows] = False
    columns, rest = np.flatnonzero(left.any(axis=0)), np.flatnonzero(left.any(axis=1))
    _put(router, places, costs, rest, columns)


def _store(key: tuple[str, str], places: Places, costs: Costs, missing: "np.ndarray") -> None:
    """Keep the cells that were missing, under the version of the map and the speeds."""
    version, speeds = key
    starts, ends = places
    cells = {
        (starts[a].key, ends[b].key): (int(costs[0][a, b]), int(costs[1][a, b]))
        for a, b in zip(*missing.nonzero(), strict=True)
    }
    DriveCell.objects.bulk_create(
        (
            DriveCell(
                version=version,
                speeds=speeds,
                start=start,
                end=end,
                milliseconds=None if ms < 0 else ms,
                decimetres=None if ms < 0 else dm,
            )
            for (start, end), (ms, dm) in cells.items()
        ),
        batch_size=ROWS_AT_ONCE,
        ignore_conflicts=True,
    )


def _put(router: Router, places: Places, costs: Costs, rows: Ints, columns: Ints) -> None:
    if not len(rows) or not len(columns):
        return
    found = router.costs([places[0][a] for a in rows], [places[1][b] for b in columns])
    for column, values in zip(costs, found, strict=True):
        column[np.ix_(rows, columns)] = values


def _positions(snaps: Sequence[Snap]) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for position, snap in enumerate(snaps):
        found.setdefault(snap.key, []).append(position)
    return found


def _cells(
    version: str, speeds: str, row: dict[str, list[int]], column: dict[str, list[int]]
) -> "list[tuple[str, str, int | None, int | None]]":
    cells = DriveCell.objects.filter(version=version, speeds=speeds, start__in=list(row), end__in=list(column))
    return list(cells.values_list("start", "end", "milliseconds", "decimetres"))


def _router(graph: RoadGraph, hour: HourClass) -> Router:
    return graph.router(hour, overlay=lambda wanted: overlay_fetch(graph, wanted))
