"""The nearest street on which a truck may stop, for any place."""

from dataclasses import dataclass

import numpy as np

from routing.roads.domain.network import Flags, Floats, Streets, air_metres
from routing.roads.domain.raw import Ints
from routing.roads.domain.speeds import CLASS_NUMBER
from routing.roads.domain.table import Point

REACH_METRES = 300
CELL_METRES = 150.0
METRES_PER_DEGREE = 111_195.0  # of a great circle on a sphere of 6,371.0 km
NO_STOPPING = [CLASS_NUMBER[name] for name in ("motorway", "motorway_link", "trunk_link", "ferry")]


@dataclass(frozen=True, slots=True)
class Snap:
    """Where a place joins the network: so many decimetres along a segment, and how far away that is."""

    segment: int
    along_dm: int
    metres: int

    @property
    def number(self) -> int:
        """Another one for each point of the streets."""
        return self.segment << 32 | self.along_dm


class Snapper:
    """Finds streets by place: straight pieces of all segments that may be stopped on, in a grid of squares."""

    def __init__(self, streets: Streets, both_ways: Flags) -> None:
        self._streets = streets
        self._good = np.zeros(len(streets.seg_from), bool)
        self._good[streets.arc_seg[both_ways]] = True
        self._pieces()
        self._grid()

    def snap(self, place: Point) -> Snap | None:
        """The nearest point of a street within REACH_METRES; None where there is none.

        Streets that can be driven to and left come first, however near another one is.
        """
        near = self._near(place)
        if not len(near):
            return None
        x, y = self._flat(np.array([place[0]]), np.array([place[1]]))
        dx, dy = self._x1[near] - self._x0[near], self._y1[near] - self._y0[near]
        length = np.maximum(1e-9, dx * dx + dy * dy)
        share = np.clip(((x - self._x0[near]) * dx + (y - self._y0[near]) * dy) / length, 0.0, 1.0)
        away = np.hypot(self._x0[near] + share * dx - x, self._y0[near] + share * dy - y)
        best = int(
            np.argmin(away + np.where((away <= REACH_METRES) & self._good[self._segment[near]], 0, REACH_METRES))
        )
        if away[best] > REACH_METRES:
            return None
        return self._snap(int(near[best]), float(share[best]), float(away[best]))

    def _snap(self, piece: int, share: float, away: float) -> Snap:
        segment = int(self._segment[piece])
        along = 10 * (self._before[piece] + share * self._length[piece])
        return Snap(segment, min(int(self._streets.seg_dm[segment]), max(0, round(along))), round(away))

    def _pieces(self) -> None:
        streets = self._streets
        driven = np.zeros(len(streets.seg_from), bool)
        driven[streets.arc_seg] = True
        segments = np.flatnonzero(driven & ~np.isin(streets.seg_class, NO_STOPPING))
        counts = streets.seg_last[segments] - streets.seg_first[segments]
        self._segment = np.repeat(segments, counts)
        within = np.arange(len(self._segment)) - np.repeat(np.cumsum(counts) - counts, counts)
        start = streets.seg_first[self._segment] + within
        lat, lon = streets.shape_lat * 1e-7, streets.shape_lon * 1e-7
        self._cos = float(np.cos(np.radians(np.mean(lat)))) if len(lat) else 1.0
        self._x0, self._y0 = self._flat(lat[start], lon[start])
        self._x1, self._y1 = self._flat(lat[start + 1], lon[start + 1])
        self._length = air_metres(lat[start], lon[start], lat[start + 1], lon[start + 1])
        travelled = np.cumsum(self._length) - self._length
        first = np.flatnonzero(within == 0)
        self._before = travelled - np.repeat(travelled[first], counts)

    def _flat(self, lat: Floats, lon: Floats) -> tuple[Floats, Floats]:
        return lon * (METRES_PER_DEGREE * self._cos), lat * METRES_PER_DEGREE

    def _grid(self) -> None:
        """Sort the pieces by the squares that their bounds touch."""
        self._west = np.minimum(self._x0, self._x1).min(initial=np.inf)
        self._south = np.minimum(self._y0, self._y1).min(initial=np.inf)
        ends = [self._square(np.minimum(self._x0, self._x1), np.minimum(self._y0, self._y1))]
        ends.append(self._square(np.maximum(self._x0, self._x1), np.maximum(self._y0, self._y1)))
        (left, low), (right, high) = ends
        self._columns = int(right.max(initial=0)) + 1
        wide = right - left + 1
        count = wide * (high - low + 1)
        piece = np.repeat(np.arange(len(left)), count)
        within = np.arange(len(piece)) - np.repeat(np.cumsum(count) - count, count)
        square = (low[piece] + within // wide[piece]) * self._columns + left[piece] + within % wide[piece]
        order = np.argsort(square, kind="stable")
        self._squares, self._in_square = square[order], piece[order]

    def _square(self, x: Floats, y: Floats) -> tuple[Ints, Ints]:
        return (
            np.floor((x - self._west) / CELL_METRES).astype(np.int64),
            np.floor((y - self._south) / CELL_METRES).astype(np.int64),
        )

    def _near(self, place: Point) -> Ints:
        """Pieces in the squares within reach of a place."""
        if not len(self._segment):
            return np.empty(0, np.int64)
        x, y = self._flat(np.array([place[0]]), np.array([place[1]]))
        (left, low), (right, high) = (self._square(x + far, y + far) for far in (-REACH_METRES, REACH_METRES))
        found: list[Ints] = []
        first, last = max(0, int(left[0])), min(self._columns - 1, int(right[0]))
        for row in range(max(0, int(low[0])), int(high[0]) + 1):
            if first > last:
                break
            begin, end = np.searchsorted(self._squares, [row * self._columns + first, row * self._columns + last + 1])
            found.append(self._in_square[begin:end])
        return np.unique(np.concatenate(found)) if found else np.empty(0, np.int64)
