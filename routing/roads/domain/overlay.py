"""The levelled graph: what a search may skip.

"Customizable route planning" (Delling, Goldberg, Pajor and Werneck 2011): the network is cut into nested cells; for
each cell the costs from every street that leads in to every street that leads out are computed once for each class
of hours. A search then drives through the cells around its ends and jumps over all others. Vertices of level 0 are
those of the turn graph, the vertices of each higher level are the arcs that cross from one cell of that level to
another. All levels stand in one set of arrays, one after another.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from routing.roads.domain.kernel import UNIT, Desk, Edges, Levels, crossings, desk_for
from routing.roads.domain.network import Streets
from routing.roads.domain.raw import Ints, Small
from routing.roads.domain.speeds import GROUP_BY_CLASS, HourClass
from routing.roads.domain.turns import TurnGraph

LEVEL_BITS = 4  # a cell holds up to 16 of the level below
LEAST_TOP_BITS = 3
OUTPUT_ROWS = 1 << 20
ENTRIES_AT_ONCE = 4_096

Rows = tuple[Small, Small, Ints]


@dataclass(frozen=True)
class Overlay:
    """The graph of one class of hours: edges, the same turned around, and the levels. `arc_cost` is that of driving
    each arc once from end to end."""

    edges: Edges
    turned: Edges
    levels: Levels
    arc_cost: Ints

    @property
    def vertices(self) -> int:
        return len(self.levels.above)


def arc_costs(streets: Streets, hour: HourClass) -> Ints:
    """The cost of each arc at these hours: traffic stretches the driving, not the waits and not the ferries."""
    stretch = np.array([1.0 if group < 0 else 100.0 / hour.percent[group] for group in GROUP_BY_CLASS])
    driving = (streets.arc_ms - streets.arc_fixed_ms) * stretch[streets.seg_class[streets.arc_seg]]
    ms = np.maximum(1, np.rint(driving)).astype(np.int64) + streets.arc_fixed_ms
    cost: Ints = ms * UNIT + streets.seg_dm[streets.arc_seg]
    return cost


def overlay_of(
    streets: Streets, graph: TurnGraph, codes: Small, depth: int, hour: HourClass, *, threads: int = 1
) -> Overlay:
    """All levels for these hours. `codes` and `depth` are those of `partition.cell_codes`."""
    levels, below = _levels(streets, graph, codes, depth)
    arc_cost = arc_costs(streets, hour)
    first, to, cost = graph.first, graph.turn_to, graph.turn_ms * np.int64(UNIT) + arc_cost[graph.arc_of[graph.turn_to]]
    parts: list[Edges] = [Edges(first, to, cost)]
    edges = parts[0]
    for level in range(1, len(levels.base) - 1):
        rows = _rows_above(edges, levels, below[level], threads)
        parts.append(_sorted_edges(rows, int(levels.base[level]), int(levels.base[level + 1])))
        edges = _joined(parts)
    return Overlay(edges, turned_edges(edges), levels, arc_cost)


def _levels(streets: Streets, graph: TurnGraph, codes: Small, depth: int) -> tuple[Levels, list[Small]]:
    """The vertices of all levels, and for each level the vertex below of each of its vertices."""
    shifts = [depth - bits for bits in range(depth, LEAST_TOP_BITS - 1, -LEVEL_BITS)] if depth else []
    tail, head = codes[streets.arc_tail], codes[streets.arc_head]
    arcs = graph.arc_of
    below: list[Small] = [np.arange(len(arcs), dtype=np.int32)]
    base, cells, aboves = [0, len(arcs)], [], []
    for shift in shifts:
        crosses = (tail[arcs] >> shift) != (head[arcs] >> shift)
        above = np.full(len(arcs), -1, np.int32)
        above[crosses] = base[-1] + np.arange(np.count_nonzero(crosses), dtype=np.int32)
        cells.append(head[arcs] >> shift)
        aboves.append(above)
        below.append((np.flatnonzero(crosses) + base[-2]).astype(np.int32))
        arcs = arcs[crosses]
        base.append(base[-1] + len(arcs))
    cells.append(np.zeros(len(arcs), np.int32))
    aboves.append(np.full(len(arcs), -1, np.int32))
    shift_by_level = np.array([*shifts, 0], np.int64)
    levels = Levels(np.concatenate(cells), np.concatenate(aboves), np.array(base, np.int64), shift_by_level)
    return levels, below


def _rows_above(edges: Edges, levels: Levels, entries: Small, threads: int) -> Rows:
    """The edges of a level, each as (from, to, cost): the ways through every cell of the level below."""
    vertices = len(edges.first) - 1
    parts = [entries[k : k + ENTRIES_AT_ONCE] for k in range(0, len(entries), ENTRIES_AT_ONCE)]

    def work(numbers: range) -> list[Rows]:
        desk = desk_for(vertices)
        return [rows for number in numbers for rows in _through(edges, levels, parts[number], desk)]

    with ThreadPoolExecutor(threads) as pool:
        found = [rows for result in pool.map(work, _shares(len(parts), threads)) for rows in result]
    if not found:
        return np.empty(0, np.int32), np.empty(0, np.int32), np.empty(0, np.int64)
    starts, ends, costs = (np.concatenate(column) for column in zip(*found, strict=True))
    return starts, ends, costs


def _shares(count: int, threads: int) -> list[range]:
    return [range(k * count // threads, (k + 1) * count // threads) for k in range(threads)]


def _through(edges: Edges, levels: Levels, entries: Small, desk: Desk) -> list[Rows]:
    found: list[Rows] = []
    begin = 0
    starts, ends = np.empty(OUTPUT_ROWS, np.int32), np.empty(OUTPUT_ROWS, np.int32)
    costs = np.empty(OUTPUT_ROWS, np.int64)
    while begin < len(entries):
        begin, written = crossings(edges, levels.cell, levels.above, entries, begin, starts, ends, costs, desk)
        found.append((starts[:written].copy(), ends[:written].copy(), costs[:written].copy()))
    return found


def _sorted_edges(rows: Rows, base: int, end: int) -> Edges:
    starts, ends, costs = rows
    order = np.argsort(starts, kind="stable")
    count = np.bincount(starts - base, minlength=end - base)
    return Edges(np.concatenate([[0], np.cumsum(count)]), ends[order], costs[order])


def _joined(parts: list[Edges]) -> Edges:
    """The levels' edges in one row; each part's `first` counts from its own start."""
    offset = np.cumsum([0, *(len(part.to) for part in parts)])
    firsts = [part.first[:-1] + start for part, start in zip(parts, offset, strict=False)]
    firsts.append(offset[-1:])
    to: list[NDArray] = [part.to for part in parts]
    return Edges(
        np.concatenate(firsts).astype(np.int64), np.concatenate(to), np.concatenate([part.cost for part in parts])
    )


def turned_edges(edges: Edges) -> Edges:
    """The same edges, each from its end to its start."""
    count = len(edges.first) - 1
    start = np.repeat(np.arange(count, dtype=np.int32), np.diff(edges.first))
    order = np.argsort(edges.to, kind="stable")
    first = np.concatenate([[0], np.cumsum(np.bincount(edges.to, minlength=count))])
    return Edges(first.astype(np.int64), start[order], edges.cost[order])
