"""The road graph as a whole: streets, turns, cells, and the ways through them at any hours.

graph = road_graph_of(raw)                     # from what an extract held
snap = graph.snap((lat, lon))                  # the nearest street, None beyond REACH_METRES
router = graph.router(hour)                    # for a class of hours; costly the first time, then kept
ms, dm = router.costs([snap, ...], [snap, ...])
leg = router.way(snap, snap)                   # arcs in order; graph.streets says which way, name and shape
"""

import hashlib
import os
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, fields
from functools import cached_property
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from routing.roads.domain.network import Streets, streets_of
from routing.roads.domain.overlay import Overlay, overlay_of
from routing.roads.domain.partition import cell_codes
from routing.roads.domain.raw import RawRoads, Small
from routing.roads.domain.router import Leg, Router
from routing.roads.domain.snapping import Snap, Snapper
from routing.roads.domain.speeds import HourClass
from routing.roads.domain.table import Point
from routing.roads.domain.turns import TurnGraph, turn_graph_of

FORMAT = 2  # goes up when the arrays or the arithmetic that made them change; older files are then not read
THREADS = min(4, os.cpu_count() or 1)


@dataclass(frozen=True)
class RoadGraph:
    """Everything that an extract says about driving, and what was computed from it. Safe to share among threads."""

    streets: Streets
    turns: TurnGraph
    codes: Small
    depth: int
    _routers: dict[str, Router] = field(default_factory=dict, compare=False, repr=False)
    _lock: Lock = field(default_factory=Lock, compare=False, repr=False)

    @cached_property
    def version(self) -> str:
        """A digest of the arrays: two extracts with the same roads have the same version."""
        digest = hashlib.sha256(f"{FORMAT} {self.depth} {chr(10).join(self.streets.names)}".encode())
        for name, column in arrays_of(self).items():
            digest.update(name.encode() + np.ascontiguousarray(column).tobytes())
        return digest.hexdigest()[:16]

    @cached_property
    def snapper(self) -> Snapper:
        return Snapper(self.streets, self.turns.both_ways)

    def snap(self, place: Point) -> Snap | None:
        """Where a place joins the streets; None where no street lies within REACH_METRES."""
        return self.snapper.snap(place)

    def router(self, hour: HourClass, *, overlay: "Callable[[HourClass], Overlay] | None" = None) -> Router:
        """Ways at these hours. `overlay` may fetch what was computed before; it is computed where it is None."""
        with self._lock:
            if hour.key not in self._routers:
                levels = overlay(hour) if overlay else self.overlay(hour)
                self._routers[hour.key] = Router(self.streets, self.turns, self.codes, levels, threads=THREADS)
            return self._routers[hour.key]

    def overlay(self, hour: HourClass) -> Overlay:
        """The levels for these hours, computed now: seconds for a county, most of a minute for half a million nodes."""
        return overlay_of(self.streets, self.turns, self.codes, self.depth, hour, threads=THREADS)

    def shape(self, leg: Leg, start: Snap, end: Snap) -> list[Point]:
        """The line along the streets of a way, as (latitude, longitude), from where it starts to where it ends."""
        points: list[Point] = []
        for number, arc in enumerate(leg.arcs):
            line = self._line(arc)
            if number == len(leg.arcs) - 1:
                line = _cut(
                    line, self._share(arc, end), keep_start=True, floor=None if number else self._share(arc, start)
                )
            elif number == 0:
                line = _cut(line, self._share(arc, start), keep_start=False, floor=None)
            points.extend(line if not points else line[1:])
        return points

    def _line(self, arc: int) -> list[Point]:
        segment = int(self.streets.arc_seg[arc])
        part = slice(int(self.streets.seg_first[segment]), int(self.streets.seg_last[segment]) + 1)
        lat, lon = self.streets.shape_lat[part] * 1e-7, self.streets.shape_lon[part] * 1e-7
        line = list(zip(lat.tolist(), lon.tolist(), strict=True))
        return line if self.streets.arc_ahead[arc] else line[::-1]

    def _share(self, arc: int, snap: Snap) -> float:
        share = snap.along_dm / max(1, int(self.streets.seg_dm[snap.segment]))
        return share if self.streets.arc_ahead[arc] else 1.0 - share


def road_graph_of(
    raw: RawRoads, *, progress: Callable[[str], None] = lambda _words: None
) -> tuple[RoadGraph, Counter[str]]:
    """The graph of an extract's roads, and the counts of what was kept and dropped."""
    progress("joining streets")
    streets, dropped = streets_of(raw)
    progress("turns and turn rules")
    turns, counts = turn_graph_of(streets, raw.turn_rules)
    progress("cutting into cells")
    codes, depth = cell_codes(streets)
    return RoadGraph(streets, turns, codes, depth), dropped + counts


def arrays_of(graph: RoadGraph) -> dict[str, NDArray]:
    """The arrays of a graph by name, without the names of streets."""
    found: dict[str, NDArray] = {"codes": graph.codes}
    for part in (graph.streets, graph.turns):
        found |= {one.name: getattr(part, one.name) for one in fields(part) if one.name != "names"}
    return found


def _cut(line: list[Point], share: float, *, keep_start: bool, floor: float | None) -> list[Point]:
    """The part of a line before (or after) a share of its length; with `floor` from that share on."""
    low, high = (floor or 0.0, share) if keep_start else (share, 1.0)
    lat, lon = np.array([p[0] for p in line]), np.array([p[1] for p in line])
    steps = np.hypot(np.diff(lat), np.diff(lon) * np.cos(np.radians(lat[0])))
    at = np.concatenate([[0.0], np.cumsum(steps)])
    whole = at[-1] or 1.0
    inner = [k for k in range(len(line)) if low * whole < at[k] < high * whole]
    ends = [(float(np.interp(x * whole, at, lat)), float(np.interp(x * whole, at, lon))) for x in (low, high)]
    return [ends[0], *(line[k] for k in inner), ends[1]]
