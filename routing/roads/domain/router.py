"""Drive costs between places on the levelled graph, and the way itself."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from threading import Lock
from typing import Any

import numpy as np

from routing.roads.domain.kernel import FAR, UNIT, Desk, Edges, desk_for, stage, trace
from routing.roads.domain.network import Streets
from routing.roads.domain.overlay import Overlay
from routing.roads.domain.raw import Ints, Small
from routing.roads.domain.snapping import Snap
from routing.roads.domain.turns import TurnGraph

CLIMBS_KEPT = 20_000


@dataclass(frozen=True, slots=True)
class Leg:
    """A way from one place to another. `arcs` are driven in order; the first and the last only in part."""

    arcs: tuple[int, ...]
    milliseconds: int
    decimetres: int


@dataclass(frozen=True, slots=True)
class _Climb:
    """The seeds of a place on every level, ahead of it or (backward) behind it."""

    seeds: list[Small]
    costs: list[Ints]


class Router:
    """Costs and ways at one class of hours. Safe to use from several threads."""

    def __init__(self, streets: Streets, graph: TurnGraph, codes: Small, overlay: Overlay, *, threads: int = 1) -> None:
        self._streets, self._graph, self._codes, self._overlay = streets, graph, codes, overlay
        self._threads = threads
        self._arcs_of = np.full((len(streets.seg_from), 2), -1, np.int64)
        self._arcs_of[streets.arc_seg, streets.arc_ahead.astype(int)] = np.arange(streets.arcs)
        self._levels = len(overlay.levels.base) - 1
        self._desks = [desk_for(overlay.vertices) for _ in range(threads)]
        self._lock = Lock()
        self._climbs: dict[tuple[Snap, bool], _Climb] = {}

    def costs(self, starts: Sequence[Snap], ends: Sequence[Snap]) -> tuple[Ints, Ints]:
        """(milliseconds, decimetres) [start, end] of the quickest ways; -1 where there is none.

        Both are 0 between places that joined the network at the same point.
        """
        backward = len(ends) < len(starts)
        pivots, others = (ends, starts) if backward else (starts, ends)
        packed = self._table(pivots, others, backward)
        table = packed.T if backward else packed
        for a, start in enumerate(starts):
            for b in self._on_same_segment(start, ends):
                table[a, b] = min(table[a, b], self._direct(start, ends[b]))
        reached = table < FAR
        return np.where(reached, table // UNIT, -1), np.where(reached, table % UNIT, -1)

    def way(self, start: Snap, end: Snap) -> Leg | None:
        """The quickest way, by a plain search; None where there is none."""
        direct = self._direct(start, end)
        seeds, costs = self._ahead(start)
        goals, goal_costs = self._behind(end)
        parent = np.full(self._overlay.vertices, -1, np.int32)
        desk = desk_for(self._overlay.vertices)
        found, cost = trace(self._overlay.edges, seeds, costs, goals, goal_costs, desk, parent)
        if min(direct, cost) >= FAR:
            return None
        if direct <= cost:
            return Leg(self._arcs_joining(start, end), direct // UNIT, direct % UNIT)
        vertices = [int(goals[found])]
        while parent[vertices[-1]] >= 0:
            vertices.append(int(parent[vertices[-1]]))
        arcs = [int(self._graph.arc_of[vertex]) for vertex in reversed(vertices)]
        return Leg((self._first_arc(start, vertices[-1], costs, seeds), *arcs), int(cost // UNIT), int(cost % UNIT))

    def _first_arc(self, start: Snap, first: int, costs: Ints, seeds: Small) -> int:
        """The arc on which a way sets out whose first turn led to the vertex `first`."""
        least = int(costs[seeds == first].min())
        for arc, part in self._ports(start):
            vertex = int(self._graph.leaving[arc])
            for edge in self._turns(vertex):
                cost = part_cost(self._overlay.arc_cost[arc], 1.0 - part) + self._overlay.edges.cost[edge]
                if self._overlay.edges.to[edge] == first and cost == least:
                    return arc
        raise ValueError(f"no turn leads from {start} to vertex {first}")

    def _turns(self, vertex: int) -> range:
        first = self._overlay.edges.first
        return range(int(first[vertex]), int(first[vertex + 1]))

    def _ports(self, snap: Snap) -> list[tuple[int, float]]:
        """The arcs on which a place lies, and which part of each is behind it."""
        share = snap.along_dm / max(1, int(self._streets.seg_dm[snap.segment]))
        back, ahead = self._arcs_of[snap.segment]
        both = ((int(ahead), share), (int(back), 1.0 - share))
        return [(arc, part) for arc, part in both if arc >= 0]

    def _ahead(self, snap: Snap) -> tuple[Small, Ints]:
        """The vertices that one who starts here comes to next, with their costs."""
        seeds: list[int] = []
        costs: list[int] = []
        edges = self._overlay.edges
        for arc, part in self._ports(snap):
            rest = part_cost(self._overlay.arc_cost[arc], 1.0 - part)
            for edge in self._turns(int(self._graph.leaving[arc])):
                seeds.append(int(edges.to[edge]))
                costs.append(rest + int(edges.cost[edge]))
        return np.array(seeds, np.int32), np.array(costs, np.int64)

    def _behind(self, snap: Snap) -> tuple[Small, Ints]:
        """The vertices on which this place lies, with minus the cost of their arcs beyond it."""
        seeds: list[int] = []
        costs: list[int] = []
        for arc, part in self._ports(snap):
            rest = int(self._overlay.arc_cost[arc]) - part_cost(self._overlay.arc_cost[arc], part)
            for vertex in {arc, int(self._graph.leaving[arc])}:
                seeds.append(vertex)
                costs.append(-rest)
        return np.array(seeds, np.int32), np.array(costs, np.int64)

    def _direct(self, start: Snap, end: Snap) -> int:
        """The cost along one segment, without a turn; FAR where there is no such way."""
        if start.segment != end.segment:
            return int(FAR)
        if start.along_dm == end.along_dm:
            return 0
        ways = [
            part_cost(self._overlay.arc_cost[arc], part_end) - part_cost(self._overlay.arc_cost[arc], part_start)
            for (arc, part_start), (_arc, part_end) in zip(self._ports(start), self._ports(end), strict=True)
            if part_end > part_start
        ]
        return min(ways, default=int(FAR))

    def _arcs_joining(self, start: Snap, end: Snap) -> tuple[int, ...]:
        back, ahead = self._arcs_of[start.segment]
        return (int(ahead if end.along_dm >= start.along_dm else back),)

    def _on_same_segment(self, start: Snap, ends: Sequence[Snap]) -> list[int]:
        return [k for k, end in enumerate(ends) if end.segment == start.segment]

    def _codes_of(self, snap: Snap) -> tuple[int, int]:
        """The leaf cells in which the arcs of a place end, the same twice where there is one."""
        cells = [int(self._codes[self._streets.arc_head[arc]]) for arc, _part in self._ports(snap)]
        return cells[0], cells[-1]

    def _climb(self, snap: Snap, backward: bool, desk: Desk) -> _Climb:
        """The seeds of every level; kept, since a place of today is a place of tomorrow."""
        known = self._climbs.get((snap, backward))
        if known is None:
            known = self._search(snap, backward, _Others.none(self._levels), desk, to_the_top=False)[0]
        return known

    def _search(
        self, snap: Snap, backward: bool, others: "_Others", desk: Desk, *, to_the_top: bool
    ) -> tuple[_Climb, Ints]:
        """Search up through the levels: in the cell around the place at each, the last one whole."""
        overlay = self._overlay
        edges: Edges = overlay.turned if backward else overlay.edges
        seeds, costs = self._behind(snap) if backward else self._ahead(snap)
        best = np.full(others.count, FAR, np.int64)
        climb = _Climb([seeds], [costs])
        for level in range(self._levels if to_the_top else self._levels - 1):
            shift, is_last = int(overlay.levels.shift[level]), level == self._levels - 1
            cell_a, cell_b = (-1, -1) if is_last else (code >> shift for code in self._codes_of(snap))
            seeds, costs = stage(
                edges, overlay.levels, seeds, costs, cell_a, cell_b, backward, *others.on_level(level), best, desk
            )
            climb.seeds.append(seeds)
            climb.costs.append(costs)
        self._climbs[snap, backward] = _Climb(climb.seeds[: self._levels], climb.costs[: self._levels])
        return self._climbs[snap, backward], best

    def _table(self, pivots: Sequence[Snap], others: Sequence[Snap], backward: bool) -> Ints:
        """Packed costs [pivot, other]: one whole search for each pivot, a short one for each other place."""
        if len(self._climbs) > CLIMBS_KEPT:
            self._climbs.clear()
        self._each(others, lambda snap, desk: self._climb(snap, not backward, desk))
        seeds = _Others.of([self._climbs[snap, not backward] for snap in others], self._levels)
        found = self._each(pivots, lambda snap, desk: self._search(snap, backward, seeds, desk, to_the_top=True)[1])
        return np.stack(found) if found else np.empty((0, len(others)), np.int64)

    def _each(self, snaps: Sequence[Snap], work: Callable[[Snap, Desk], Any]) -> list[Any]:
        """The work for each place, shared among threads; a desk for each."""
        if self._threads == 1 or len(snaps) < 2 * self._threads:
            with self._lock:
                return [work(snap, self._desks[0]) for snap in snaps]
        with self._lock, ThreadPoolExecutor(self._threads) as pool:
            shares = [snaps[k :: self._threads] for k in range(self._threads)]
            pairs = zip(shares, self._desks, strict=True)
            results = list(pool.map(lambda pair: [work(snap, pair[1]) for snap in pair[0]], pairs))
        return [results[k % self._threads][k // self._threads] for k in range(len(snaps))]


@dataclass(frozen=True, slots=True)
class _Others:
    """The seeds of many places in rows, level by level: those of place k are `first[level][k]` to the next."""

    count: int
    first: list[Ints]
    seeds: list[Small]
    costs: list[Ints]

    @classmethod
    def none(cls, levels: int) -> "_Others":
        return cls.of([], levels)

    @classmethod
    def of(cls, climbs: Sequence[_Climb], levels: int) -> "_Others":
        no_seeds, no_costs = [np.empty(0, np.int32)], [np.empty(0, np.int64)]
        return cls(
            len(climbs),
            [np.cumsum([0, *(len(climb.seeds[level]) for climb in climbs)]) for level in range(levels)],
            [np.concatenate(no_seeds + [climb.seeds[level] for climb in climbs]) for level in range(levels)],
            [np.concatenate(no_costs + [climb.costs[level] for climb in climbs]) for level in range(levels)],
        )

    def on_level(self, level: int) -> tuple[Ints, Small, Ints]:
        return self.first[level], self.seeds[level], self.costs[level]


def part_cost(cost: int, share: float) -> int:
    """The cost of a part of an arc: milliseconds and decimetres rounded apart."""
    milliseconds, decimetres = divmod(int(cost), UNIT)
    return round(milliseconds * share) * UNIT + round(decimetres * share)
