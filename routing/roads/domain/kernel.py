"""Compiled shortest paths on a levelled graph: the one search that everything else is made of.

A cost is one whole number, milliseconds x 2^28 + decimetres: sums stay exact, times are compared first and equal
times by distance. The heap is indexed, so a vertex stands in it once.
"""

# mypy: disable-error-code="no-any-return, return-value, call-arg"

from typing import NamedTuple

import numpy as np
from numba import njit

from routing.roads.domain.raw import Ints, Small

FAR = np.int64(2**62)
"""The cost of what cannot be reached."""
UNIT = 1 << 28


class Edges(NamedTuple):
    """Edges sorted by where they start: those of v are `first[v]` to `first[v + 1]`."""

    first: Ints
    to: Small
    cost: Ints


class Levels(NamedTuple):
    """What tells the search where a vertex lies: its cell at its level, its vertex one level up (-1 where there is
    none), the first vertex of each level, and by how many bits a leaf cell's code is shifted for each level."""

    cell: Small
    above: Small
    base: Ints
    shift: Ints


class Desk(NamedTuple):
    """Scratch arrays of one thread, one place for each vertex; clean between two searches."""

    cost: Ints
    place: Small
    heap: Small
    touched: Small


def desk_for(vertices: int) -> Desk:
    """A clean desk."""
    return Desk(
        np.full(vertices, FAR, np.int64),
        np.full(vertices, -1, np.int32),
        np.empty(vertices, np.int32),
        np.empty(vertices, np.int32),
    )


@njit(cache=True, nogil=True)
def _rise(desk: Desk, at: int) -> None:
    vertex = desk.heap[at]
    cost = desk.cost[vertex]
    while at > 0:
        parent = (at - 1) >> 2
        other = desk.heap[parent]
        if desk.cost[other] <= cost:
            break
        desk.heap[at] = other
        desk.place[other] = at
        at = parent
    desk.heap[at] = vertex
    desk.place[vertex] = at


@njit(cache=True, nogil=True)
def _pop(desk: Desk, size: int) -> int:
    """Take the cheapest vertex out of a heap of so many; it keeps place -2."""
    top = desk.heap[0]
    desk.place[top] = -2
    size -= 1
    if size > 0:
        vertex = desk.heap[size]
        cost = desk.cost[vertex]
        at = 0
        while True:
            child = 4 * at + 1
            if child >= size:
                break
            best = child
            for other in range(child + 1, min(child + 4, size)):
                if desk.cost[desk.heap[other]] < desk.cost[desk.heap[best]]:
                    best = other
            if desk.cost[desk.heap[best]] >= cost:
                break
            desk.heap[at] = desk.heap[best]
            desk.place[desk.heap[at]] = at
            at = best
        desk.heap[at] = vertex
        desk.place[vertex] = at
    return top


@njit(cache=True, nogil=True)
def _offer(desk: Desk, vertex: int, cost: int, size: int, count: int) -> tuple[int, int]:
    """Note a cost for a vertex if it is the least so far; the new (heap size, touched count)."""
    if cost < desk.cost[vertex]:
        if desk.place[vertex] == -1:
            desk.touched[count] = vertex
            count += 1
            desk.heap[size] = vertex
            desk.place[vertex] = size
            size += 1
        desk.cost[vertex] = cost
        _rise(desk, desk.place[vertex])
    return size, count


@njit(cache=True, nogil=True)
def spread(
    edges: Edges, cell: Small, seeds: Small, costs: Ints, cell_a: int, cell_b: int, backward: bool, desk: Desk
) -> int:
    """Least costs from the seeds to all vertices of two cells (-1: of all); how many vertices were touched.

    Forward, the first vertices beyond the cells are reached, but nothing behind them; backward (on the turned edges)
    only vertices of the cells are. The costs stay on the desk until `wipe`.
    """
    size, count = 0, 0
    for k in range(len(seeds)):
        size, count = _offer(desk, seeds[k], costs[k], size, count)
    while size > 0:
        vertex = _pop(desk, size)
        size -= 1
        if cell_a >= 0 and cell[vertex] != cell_a and cell[vertex] != cell_b:
            continue
        cost = desk.cost[vertex]
        for edge in range(edges.first[vertex], edges.first[vertex + 1]):
            to = edges.to[edge]
            if backward and cell_a >= 0 and cell[to] != cell_a and cell[to] != cell_b:
                continue
            size, count = _offer(desk, to, cost + edges.cost[edge], size, count)
    return count


@njit(cache=True, nogil=True)
def wipe(desk: Desk, count: int) -> None:
    """Make the desk clean after a search that touched so many vertices."""
    for k in range(count):
        desk.cost[desk.touched[k]] = FAR
        desk.place[desk.touched[k]] = -1


@njit(cache=True, nogil=True)
def stage(
    edges: Edges,
    levels: Levels,
    seeds: Small,
    costs: Ints,
    cell_a: int,
    cell_b: int,
    backward: bool,
    other_first: Ints,
    other_seeds: Small,
    other_costs: Ints,
    best: Ints,
    desk: Desk,
) -> tuple[Small, Ints]:
    """One level of a search: `spread`, then look at the other places' seeds on this level.

    Those of other place k are `other_first[k]` to `other_first[k + 1]`; `best[k]` is lowered to the least cost to
    (backward: from) it. Returns the seeds of the next level: what was reached and also stands there.
    """
    count = spread(edges, levels.cell, seeds, costs, cell_a, cell_b, backward, desk)
    for other in range(len(best)):
        for k in range(other_first[other], other_first[other + 1]):
            cost = desk.cost[other_seeds[k]]
            if cost < FAR and cost + other_costs[k] < best[other]:
                best[other] = cost + other_costs[k]
    found = _border(levels.above, desk, count)
    wipe(desk, count)
    return found


@njit(cache=True, nogil=True)
def _border(above: Small, desk: Desk, count: int) -> tuple[Small, Ints]:
    """The touched vertices that also stand one level up, with their costs."""
    found = 0
    for k in range(count):
        found += above[desk.touched[k]] >= 0
    seeds = np.empty(found, np.int32)
    costs = np.empty(found, np.int64)
    at = 0
    for k in range(count):
        vertex = desk.touched[k]
        if above[vertex] >= 0:
            seeds[at] = above[vertex]
            costs[at] = desk.cost[vertex]
            at += 1
    return seeds, costs


@njit(cache=True, nogil=True)
def crossings(
    edges: Edges,
    cell: Small,
    above: Small,
    entries: Small,
    begin: int,
    out_from: Small,
    out_to: Small,
    out_cost: Ints,
    desk: Desk,
) -> tuple[int, int]:
    """Costs from each entry of a cell to every vertex just beyond it, until the output is nearly full.

    Returns the entry to go on with and how many rows were written.
    """
    written = 0
    seed = np.empty(1, np.int32)
    zero = np.zeros(1, np.int64)
    for k in range(begin, len(entries)):
        seed[0] = entries[k]
        home = cell[entries[k]]
        count = spread(edges, cell, seed, zero, home, home, False, desk)
        if written + count > len(out_to):
            wipe(desk, count)
            return k, written
        for t in range(count):
            vertex = desk.touched[t]
            if cell[vertex] != home and above[vertex] >= 0:
                out_from[written] = above[entries[k]]
                out_to[written] = above[vertex]
                out_cost[written] = desk.cost[vertex]
                written += 1
        wipe(desk, count)
    return len(entries), written


@njit(cache=True, nogil=True)
def trace(
    edges: Edges, seeds: Small, costs: Ints, goals: Small, goal_costs: Ints, desk: Desk, parent: Small
) -> tuple[int, int]:
    """The cheapest way from seeds to goals by one plain search: (position of the goal or -1, cost).

    `parent[v]` is the vertex before v, -1 at a seed; it holds what earlier searches left at other vertices. The cost
    of a goal is added to that of its vertex and may be negative.
    """
    size, count, least = 0, 0, 0
    best, found = FAR, -1
    for k in range(len(goals)):
        least = min(least, goal_costs[k])
    for k in range(len(seeds)):
        if costs[k] < desk.cost[seeds[k]]:
            parent[seeds[k]] = -1
        size, count = _offer(desk, seeds[k], costs[k], size, count)
    while size > 0:
        vertex = _pop(desk, size)
        size -= 1
        cost = desk.cost[vertex]
        if cost + least >= best:
            break
        for k in range(len(goals)):
            if goals[k] == vertex and cost + goal_costs[k] < best:
                best, found = cost + goal_costs[k], k
        for edge in range(edges.first[vertex], edges.first[vertex + 1]):
            to = edges.to[edge]
            if cost + edges.cost[edge] < desk.cost[to]:
                parent[to] = vertex
            size, count = _offer(desk, to, cost + edges.cost[edge], size, count)
    wipe(desk, count)
    return found, best
