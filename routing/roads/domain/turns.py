"""The turn graph: a vertex is an arc being driven, an edge is a turn from the end of one arc into the next.

On it every turn rule is a missing edge, and the cost of turning is a weight. Two kinds of arc have more than one
vertex:

- where a turn rule goes via ways, the via arcs are doubled for those who came from its first way, so that only they
  lack the forbidden turn;
- streets of the last mile (service ways, private ways, what lies behind a gate or can be reached over such ways only)
  have a vertex for leaving a place and one for arriving at one. From the first one may go on to any street, from the
  second only to streets of the last mile: nobody drives through.
"""

from collections import Counter
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from routing.roads.domain.network import Flags, Floats, Streets
from routing.roads.domain.raw import Ints, RawRule, Small
from routing.roads.domain.speeds import RANK_BY_CLASS, RANKS
from routing.roads.domain.tags import NodeKind

# Time lost in a turn, in milliseconds, by what it does: chosen so that two real extracts take as long as by Valhalla.
STRAIGHT_MS, RIGHT_MS, LEFT_MS, SHARP_MS, AROUND_MS, YIELD_MS = 500, 3_000, 4_500, 6_000, 40_000, 1_500
STRAIGHT_DEGREES, SHARP_DEGREES, AROUND_DEGREES = 30.0, 135.0, 160.0

Turn = tuple[int, ...]


@dataclass(frozen=True)
class TurnGraph:
    """Vertices [v] and turns, sorted by where they start: those of vertex v are `first[v]` to `first[v + 1]`.

    Vertices 0 to arcs - 1 are the arcs themselves (of the last mile: arriving there). `leaving[a]` is the vertex of
    arc a for one who starts on it. `turn_ms` is lost in the turn itself. `both_ways` [a] are the arcs that can be
    driven to from the through network and from which there is a way back.
    """

    arc_of: Small
    leaving: Small
    first: Ints
    turn_to: Small
    turn_ms: Small
    both_ways: Flags


@dataclass(frozen=True)
class _Turns:
    """Turns [t] from vertex to vertex."""

    start: Ints
    end: Ints
    ms: Ints


def turn_graph_of(streets: Streets, rules: tuple[RawRule, ...]) -> tuple[TurnGraph, Counter[str]]:
    """The turn graph under these rules, and the counts of the rules kept and of those that did not apply."""
    counts: Counter[str] = Counter()
    forbidden = _Forbidden.of(streets, rules, counts)
    turns = _all_turns(streets)
    gate = _at_gate(streets, turns.start)
    turns, gate = _without_pairs(streets, turns, gate, forbidden)
    last_mile, both_ways = _last_mile(streets, turns, gate, counts)
    arc_of, turns = _with_via_copies(streets, turns, forbidden)
    return _with_phases(streets, arc_of, turns, last_mile, both_ways), counts


def _all_turns(streets: Streets) -> _Turns:
    """Every turn that the streets alone allow: nothing past a shut node, turning around at dead ends only."""
    by_tail = np.argsort(streets.arc_tail, kind="stable")
    leaving = np.bincount(streets.arc_tail, minlength=streets.nodes)
    first = np.concatenate([[0], np.cumsum(leaving)])
    reach = leaving[streets.arc_head]
    start = np.repeat(np.arange(streets.arcs), reach)
    within = np.arange(len(start)) - np.repeat(np.cumsum(reach) - reach, reach)
    end = by_tail[first[streets.arc_head[start]] + within]
    around = _turns_around(streets, start, end)
    shut = (streets.node_kind[streets.arc_head[start]] & NodeKind.SHUT) > 0
    keep = np.where(around, _may_turn_around(streets, start, end, shut)[start], ~shut)
    start, end = start[keep], end[keep]
    return _Turns(start, end, _turn_ms(streets, start, end))


def _may_turn_around(streets: Streets, start: Ints, end: Ints, shut: Flags) -> Flags:
    """Arcs at whose end there is no way on: none at all, or for through traffic none that is open to it."""
    last_mile = streets.seg_last_mile[streets.arc_seg]
    on = ~_turns_around(streets, start, end) & ~shut & (last_mile[start] | ~last_mile[end])
    ways_on = np.bincount(start[on], minlength=streets.arcs)
    dead_end: Flags = ways_on == 0
    return dead_end


def _turn_ms(streets: Streets, start: Ints, end: Ints) -> Ints:
    angle = _turned_degrees(streets, start, end)
    size = np.abs(angle)
    straight = np.where(_crosses(streets, start, end), STRAIGHT_MS, 0)
    ms = np.where(size <= STRAIGHT_DEGREES, straight, np.where(angle > 0, RIGHT_MS, LEFT_MS))
    ms = np.where(size > SHARP_DEGREES, SHARP_MS, ms)
    on_ring = streets.seg_ring[streets.arc_seg[start]] | streets.seg_ring[streets.arc_seg[end]]
    ms = np.where(on_ring, STRAIGHT_MS, ms)
    degree = np.bincount(np.concatenate([streets.seg_from, streets.seg_to]), minlength=streets.nodes)
    ms = np.where(degree[streets.arc_head[start]] <= 2, 0, ms)  # the same road goes on
    ms = ms + np.where(_gives_way(streets)[start], YIELD_MS, 0)
    return np.where(_turns_around(streets, start, end), AROUND_MS, ms)


def _turned_degrees(streets: Streets, start: Ints, end: Ints) -> Floats:
    """By how much each turn bends, -180 to 180; to the right is positive."""
    out, into = _bearings(streets)
    degrees: Floats = (into[end] - out[start] + 180.0) % 360.0 - 180.0
    return degrees


def _turns_around(streets: Streets, start: Ints, end: Ints) -> Flags:
    """Turns back along the same street, or into its other carriageway where both meet in a point."""
    apart = (streets.arc_twin[start] < 0) & (streets.arc_twin[end] < 0)
    same = streets.seg_name[streets.arc_seg[start]] == streets.seg_name[streets.arc_seg[end]]
    back = np.abs(_turned_degrees(streets, start, end)) > AROUND_DEGREES
    around: Flags = (end == streets.arc_twin[start]) | (apart & same & back)
    return around


def _ranks(streets: Streets) -> Small:
    """Which of two roads that meet gives way: the rank of each segment."""
    rank: Small = np.where(streets.seg_last_mile, 0, np.array(RANK_BY_CLASS, np.int32)[streets.seg_class])
    return rank


def _crosses(streets: Streets, start: Ints, end: Ints) -> Flags:
    """Turns at whose node a third road comes in that is no lesser than the one driven."""
    rank = _ranks(streets)
    ends = np.concatenate([streets.seg_from, streets.seg_to])
    at_node = np.bincount(ends * RANKS + np.concatenate([rank, rank]), minlength=streets.nodes * RANKS)
    no_lesser = at_node.reshape(-1, RANKS)[:, ::-1].cumsum(axis=1)[:, ::-1]
    least = np.minimum(rank[streets.arc_seg[start]], rank[streets.arc_seg[end]])
    crosses: Flags = no_lesser[streets.arc_head[start], least] > 2
    return crosses


def _gives_way(streets: Streets) -> Flags:
    """Arcs that end where a greater road passes and no signals stand."""
    rank = _ranks(streets)
    greatest = np.full(streets.nodes, -1)
    for ends in (streets.seg_from, streets.seg_to):
        np.maximum.at(greatest, ends, rank)
    signals = (streets.node_kind & NodeKind.SIGNALS) > 0
    lesser: Flags = rank[streets.arc_seg] < greatest[streets.arc_head]
    return lesser & ~signals[streets.arc_head]


def _bearings(streets: Streets) -> tuple[Floats, Floats]:
    """Compass degrees in which each arc (arrives at its end, sets out from its start)."""
    first, last = streets.seg_first[streets.arc_seg], streets.seg_last[streets.arc_seg]
    forward = (_bearing(streets, last - 1, last), _bearing(streets, first, first + 1))
    backward = (_bearing(streets, first + 1, first), _bearing(streets, last, last - 1))
    out = np.where(streets.arc_ahead, forward[0], backward[0])
    into = np.where(streets.arc_ahead, forward[1], backward[1])
    return out, into


def _bearing(streets: Streets, a: Ints, b: Ints) -> Floats:
    north = (streets.shape_lat[b] - streets.shape_lat[a]).astype(float)
    east = (streets.shape_lon[b] - streets.shape_lon[a]) * np.cos(np.radians(streets.shape_lat[a] * 1e-7))
    degrees: Floats = np.degrees(np.arctan2(east, north))
    return degrees


def _at_gate(streets: Streets, start: Ints | Small) -> Flags:
    """Turns through a gate that is for those behind it."""
    gate: Flags = (streets.node_kind[streets.arc_head[start]] & NodeKind.TO_THE_DOOR) > 0
    return gate


@dataclass(frozen=True)
class _Forbidden:
    """Runs of arcs that may not be driven one after another: pairs, and longer ones."""

    pairs: frozenset[Turn]
    longer: frozenset[Turn]

    @classmethod
    def of(cls, streets: Streets, rules: tuple[RawRule, ...], counts: Counter[str]) -> "_Forbidden":
        found: set[Turn] = set()
        arcs = _ArcsOfWays(streets, rules)
        for rule in rules:
            runs = arcs.runs_forbidden_by(rule)
            counts["turn rules kept" if runs else "turn rules whose streets are not driven"] += 1
            found.update(runs)
        return cls(frozenset(r for r in found if len(r) == 2), frozenset(r for r in found if len(r) > 2))


class _ArcsOfWays:
    """Finds the arcs that a rule speaks of: those of its ways, by the node where they start and end."""

    def __init__(self, streets: Streets, rules: tuple[RawRule, ...]) -> None:
        ways = [way for rule in rules for way in (*rule.from_ways, *rule.via_ways, *rule.to_ways)]
        way = streets.seg_way[streets.arc_seg]
        wanted = np.flatnonzero(np.isin(way, np.array(ways, np.int64)))
        self.ending: dict[tuple[int, int], list[int]] = {}
        self.starting: dict[tuple[int, int], list[int]] = {}
        self.of_way: dict[int, list[int]] = {}
        for arc in wanted.tolist():
            self.ending.setdefault((int(way[arc]), int(streets.arc_head[arc])), []).append(arc)
            self.starting.setdefault((int(way[arc]), int(streets.arc_tail[arc])), []).append(arc)
            self.of_way.setdefault(int(way[arc]), []).append(arc)
        self.head, self.twin = streets.arc_head, streets.arc_twin
        self.by_tail = np.argsort(streets.arc_tail, kind="stable")
        self.first = np.searchsorted(streets.arc_tail[self.by_tail], np.arange(streets.nodes + 1))
        via = sorted({node for rule in rules for node in rule.via_nodes})
        place = np.searchsorted(streets.node_osm, via)
        known = [k for k in range(len(via)) if place[k] < streets.nodes and streets.node_osm[place[k]] == via[k]]
        self.node = {via[k]: int(place[k]) for k in known}

    def runs_forbidden_by(self, rule: RawRule) -> set[Turn]:
        """The runs of arcs that this rule forbids; none where one of its streets is not driven."""
        arriving = self._approaches(rule)
        leaving = {arc for way in rule.to_ways for arc in self.of_way.get(way, ())}
        found: set[Turn] = set()
        for run in arriving:
            on = self.leaving(run[-1])
            meant = [arc for arc in on if arc in leaving]
            if meant and rule.kind == "no":
                found.update((*run, arc) for arc in meant)
            elif meant:
                found.update((*run, arc) for arc in on if arc not in leaving)
        return found

    def leaving(self, arc: int) -> list[int]:
        node = self.head[arc]
        arcs: list[int] = self.by_tail[self.first[node] : self.first[node + 1]].tolist()
        return arcs

    def _approaches(self, rule: RawRule) -> list[Turn]:
        """Runs that come from the rule's first way up to where it forbids: via its node, or over its via ways."""
        if rule.via_nodes:
            nodes = [self.node[node] for node in rule.via_nodes if node in self.node]
            return [(arc,) for way in rule.from_ways for node in nodes for arc in self.ending.get((way, node), ())]
        runs: list[Turn] = [(arc,) for way in rule.from_ways for arc in self.of_way.get(way, ())]
        for way in rule.via_ways:
            runs = [longer for run in runs for longer in self._along(run, way)]
        return runs

    def _along(self, run: Turn, way: int) -> list[Turn]:
        """The run continued over the arcs of a via way, to each node on it."""
        found: list[Turn] = []
        ends = [(run, arc) for arc in self.starting.get((way, int(self.head[run[-1]])), ())]
        while ends:
            before, arc = ends.pop()
            if arc in before or arc == self.twin[before[-1]]:
                continue
            longer = (*before, arc)
            found.append(longer)
            ends.extend((longer, after) for after in self.starting.get((way, int(self.head[arc])), ()))
        return found


def _without_pairs(streets: Streets, turns: _Turns, gate: Flags, forbidden: _Forbidden) -> tuple[_Turns, Flags]:
    if not forbidden.pairs:
        return turns, gate
    pairs = np.array([a * streets.arcs + b for a, b in forbidden.pairs], np.int64)
    keep = ~np.isin(turns.start * streets.arcs + turns.end, pairs)
    return _Turns(turns.start[keep], turns.end[keep], turns.ms[keep]), gate[keep]


def _last_mile(streets: Streets, turns: _Turns, gate: Flags, counts: Counter[str]) -> tuple[Flags, Flags]:
    """Arcs that are for the last mile: tagged so, or joined to the through network over such arcs or gates only; and
    those that lead there and back.

    Where several pieces of the through network hang together, only the one with the most arcs is through. Since one
    can drive from everywhere to everywhere within it, whoever could drive at all still can.
    """
    tagged = streets.seg_last_mile[streets.arc_seg]
    whole = _pieces(streets.arcs, turns.start, turns.end, "weak")
    through = ~tagged[turns.start] & ~tagged[turns.end] & ~gate
    piece = _pieces(streets.arcs, turns.start[through], turns.end[through], "strong")
    arcs_in = np.bincount(piece[~tagged], minlength=int(piece.max(initial=0)) + 1)
    whole_of = np.zeros(len(arcs_in), np.int64)
    whole_of[piece] = whole
    largest = np.zeros(int(whole.max(initial=0)) + 1, np.int64)
    by_size = np.argsort(arcs_in, kind="stable")
    largest[whole_of[by_size]] = by_size  # the last one written is the largest
    pocket = ~tagged & (piece != largest[whole])
    counts["arcs of the last mile"] += int(np.count_nonzero(tagged))
    counts["arcs that are reached over the last mile only"] += int(np.count_nonzero(pocket))
    both_ways = _both_ways(streets, turns, piece == largest[whole])
    counts["arcs without a way there or back"] += int(np.count_nonzero(~both_ways))
    return tagged | pocket, both_ways


def _both_ways(streets: Streets, turns: _Turns, through: Flags) -> Flags:
    """Arcs in one strong piece with a through arc, whatever streets lie between."""
    strong = _pieces(streets.arcs, turns.start, turns.end, "strong")
    both_ways: Flags = np.isin(strong, np.unique(strong[through]))
    return both_ways


def _pieces(arcs: int, start: Ints, end: Ints, connection: Literal["weak", "strong"]) -> Small:
    """The number of the piece of each arc: arcs that hang together, or (strong) that all lead to one another."""
    links = coo_array((np.ones(len(start), np.int8), (start, end)), shape=(arcs, arcs)).tocsr()
    _count, piece = connected_components(links, directed=True, connection=connection)
    found: Small = piece
    return found


def _with_via_copies(streets: Streets, turns: _Turns, forbidden: _Forbidden) -> tuple[Small, _Turns]:
    """Double the via arcs of the longer forbidden runs; a copy stands for having come the forbidden way so far."""
    prefixes = sorted({run[:k] for run in forbidden.longer for k in range(2, len(run))})
    if not prefixes:
        return np.arange(streets.arcs, dtype=np.int32), turns
    copy = {prefix: streets.arcs + number for number, prefix in enumerate(prefixes)}
    order = np.argsort(turns.start, kind="stable")
    first = np.searchsorted(turns.start[order], np.arange(streets.arcs + 1))
    end = turns.end.copy()
    added: list[tuple[int, int, int]] = []

    def into(run: Turn) -> int | None:
        """The vertex reached by driving this run, None where a part of it is forbidden."""
        parts = [run[k:] for k in range(len(run) - 1)]
        if any(part in forbidden.longer for part in parts):
            return None
        return next((copy[part] for part in parts if part in copy), run[-1])

    for prefix in prefixes:
        arc = prefix[-1]
        for turn in order[first[arc] : first[arc + 1]].tolist():
            there = into((*prefix, int(turns.end[turn])))
            if there is not None:
                added.append((copy[prefix], there, int(turns.ms[turn])))
        if len(prefix) == 2:
            here = order[first[prefix[0]] : first[prefix[0] + 1]]
            end[here[turns.end[here] == arc]] = copy[prefix]
    more = np.array(added, np.int64).reshape(-1, 3)
    arc_of = np.concatenate([np.arange(streets.arcs), [prefix[-1] for prefix in prefixes]]).astype(np.int32)
    joined = (np.concatenate([old, new]) for old, new in zip((turns.start, end, turns.ms), more.T, strict=True))
    return arc_of, _Turns(*joined)


def _with_phases(streets: Streets, arc_of: Small, turns: _Turns, last_mile: Flags, both_ways: Flags) -> TurnGraph:
    """Give each vertex of the last mile a second one for leaving, and keep the turns that each may take."""
    mile = last_mile[arc_of]
    count = len(arc_of)
    doubled = np.flatnonzero(mile)
    leaving = np.arange(count)
    leaving[doubled] = count + np.arange(len(doubled))
    gate = _at_gate(streets, arc_of[turns.start])
    from_mile, to_mile = mile[turns.start], mile[turns.end]
    arriving = to_mile | (~from_mile & ~gate)
    departing = from_mile
    start = np.concatenate([turns.start[arriving], leaving[turns.start[departing]]])
    end = np.concatenate([turns.end[arriving], leaving[turns.end[departing]]])
    ms = np.concatenate([turns.ms[arriving], turns.ms[departing]])
    order = np.lexsort((end, start))
    total = count + len(doubled)
    return TurnGraph(
        arc_of=np.concatenate([arc_of, arc_of[doubled]]).astype(np.int32),
        leaving=leaving[: streets.arcs].astype(np.int32),
        first=np.concatenate([[0], np.cumsum(np.bincount(start, minlength=total))]).astype(np.int64),
        turn_to=end[order].astype(np.int32),
        turn_ms=ms[order].astype(np.int32),
        both_ways=both_ways,
    )
