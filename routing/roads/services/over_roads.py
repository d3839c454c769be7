"""Drive times over a road graph, remembered in the database.

Imported only where there is a road map: it brings the compiler along.
"""

import logging
from collections.abc import Sequence
from dataclasses import dataclass

from routing.roads.domain import DriveTable, Point
from routing.roads.domain.graph import RoadGraph
from routing.roads.domain.matrix import table_of
from routing.roads.domain.router import Router
from routing.roads.domain.snapping import Snap
from routing.roads.domain.speeds import HourClass
from routing.roads.selectors import ANY_HOUR, DriveSpeeds, road_map_current
from routing.roads.services.kept_costs import Costs, remembered_costs
from routing.roads.services.store import graph_load, overlay_fetch
from shared.errors import NotFound

logger = logging.getLogger(__name__)
ROADS = "roads ({source})"


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
            key = (self.graph.version, hour.key)
            return remembered_costs(key, starts, ends, lambda *asked: self._search(hour, *asked), keep=self.keep)
        return self._search(hour, starts, ends)

    def _search(self, hour: HourClass, starts: Sequence[Snap], ends: Sequence[Snap]) -> Costs:
        return _router(self.graph, hour).costs(starts, ends)


def _router(graph: RoadGraph, hour: HourClass) -> Router:
    return graph.router(hour, overlay=lambda wanted: overlay_fetch(graph, wanted))
