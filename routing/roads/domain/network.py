"""From the ways of a map to streets: nodes where something can be decided, segments between them, and arcs.

A segment is a stretch of one way between two such nodes; an arc is a segment in one direction of driving. Nodes in
between only shape it.
"""

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from routing.roads.domain.raw import Bytes, Ints, RawRoads, Small
from routing.roads.domain.tags import NodeKind
from shared.geo import EARTH_RADIUS_METRES

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

DEGREES_PER_UNIT = 1e-7
SIGNALS_MS = 1_000  # average wait at one of a crossing's signals; chosen as the turns of `turns.py` were
GATE_MS = 15_000  # opening and passing a gate; our choice, no source
JOINING_DM = 400  # service ways up to this length may be crossings of an avenue; our choice, no source
ISLAND_SHARE = 0.05
ISLAND_ARCS = 500  # pieces of the network smaller than both are dropped


@dataclass(frozen=True)
class Streets:
    """Nodes [n], segments [s] and arcs [a]. Coordinates are whole 1e-7 degrees.

    Segment k runs from `seg_from` to `seg_to` over the shape points `seg_first[k]` to `seg_last[k]`, both included.
    An arc drives `arc_seg` from its `arc_tail` to its `arc_head`, in the segment's own direction where `arc_ahead`;
    `arc_ms` is the free time with waits on the way, `arc_fixed_ms` the part of it that traffic does not stretch,
    `arc_twin` the arc of the other direction or -1.
    """

    node_osm: Ints
    node_lat: Small
    node_lon: Small
    node_kind: Bytes
    shape_lat: Small
    shape_lon: Small
    seg_from: Small
    seg_to: Small
    seg_first: Ints
    seg_last: Ints
    seg_way: Ints
    seg_name: Small
    seg_class: Bytes
    seg_dm: Small
    seg_last_mile: Flags
    seg_ring: Flags
    arc_tail: Small
    arc_head: Small
    arc_seg: Small
    arc_ahead: Flags
    arc_ms: Small
    arc_fixed_ms: Small
    arc_twin: Small
    names: tuple[str, ...]

    @property
    def nodes(self) -> int:
        return len(self.node_osm)

    @property
    def arcs(self) -> int:
        return len(self.arc_tail)


def degrees_of(units: Small) -> Floats:
    """Degrees of coordinates in whole 1e-7 degrees."""
    degrees: Floats = units * np.float64(DEGREES_PER_UNIT)
    return degrees


def air_metres(lat1: Floats, lon1: Floats, lat2: Floats, lon2: Floats) -> Floats:
    """Great-circle metres between points in degrees, element by element (haversine formula)."""
    phi1, phi2 = np.radians(lat1), np.radians(lat2)
    half = np.sin((phi2 - phi1) / 2) ** 2
    half = half + np.cos(phi1) * np.cos(phi2) * np.sin(np.radians(lon2 - lon1) / 2) ** 2
    metres: Floats = 2 * EARTH_RADIUS_METRES * np.arcsin(np.sqrt(np.minimum(1.0, half)))
    return metres


def streets_of(raw: RawRoads) -> tuple[Streets, Counter[str]]:
    """The street network and the counts of what fell out on the way."""
    dropped: Counter[str] = Counter()
    points = _Points.of(raw, dropped)
    streets = _segments(raw, points)
    return _without_islands(streets, dropped), dropped


@dataclass(frozen=True)
class _Points:
    """The shape points of all ways in a row: their node [p], their way [p], and whether a run of them ends or
    begins there (at the ends of a way, and where a node is missing)."""

    node: Ints
    way: Ints
    is_first: Flags
    is_last: Flags

    @classmethod
    def of(cls, raw: RawRoads, dropped: Counter[str]) -> "_Points":
        way = np.repeat(np.arange(len(raw.way_ids)), np.diff(raw.ref_starts))
        place = np.searchsorted(raw.node_ids, raw.refs)
        place = np.minimum(place, max(0, len(raw.node_ids) - 1))
        known = raw.node_ids[place] == raw.refs if len(raw.node_ids) else np.zeros(len(raw.refs), bool)
        dropped["points outside the file"] += int(np.count_nonzero(~known))
        run = way * (len(raw.refs) + 1) + np.cumsum(~known)
        node, way, run = place[known], way[known], run[known]
        again = np.zeros(len(node), bool)
        again[1:] = (node[1:] == node[:-1]) & (run[1:] == run[:-1])  # the same node twice in a row
        node, way, run = node[~again], way[~again], run[~again]
        is_first = np.ones(len(node), bool)
        is_first[1:] = run[1:] != run[:-1]
        is_last = np.ones(len(node), bool)
        is_last[:-1] = is_first[1:]
        return cls(node, way, is_first, is_last)


def _segments(raw: RawRoads, points: _Points) -> Streets:
    deciding = _deciding(raw, points)
    stops = np.flatnonzero(deciding[points.node])
    starts, ends = stops[:-1], stops[1:]
    whole = ~points.is_last[starts]
    starts, ends = starts[whole], ends[whole]
    lat, lon = raw.node_lat[points.node], raw.node_lon[points.node]
    metres = np.zeros(len(lat))
    degrees = (degrees_of(lat), degrees_of(lon))
    metres[1:] = air_metres(degrees[0][:-1], degrees[1][:-1], degrees[0][1:], degrees[1][1:])
    travelled = np.cumsum(np.where(points.is_first, 0.0, metres))
    length = travelled[ends] - travelled[starts]
    way = points.way[starts]
    used = np.unique(np.concatenate([points.node[starts], points.node[ends]]))
    at = np.full(len(raw.node_ids), -1, np.int32)
    at[used] = np.arange(len(used), dtype=np.int32)
    rules = raw.rules
    rule = raw.way_rule[way]
    inner = _inner_signals(raw, points, starts, ends)
    columns = {
        "node_osm": raw.node_ids[used],
        "node_lat": raw.node_lat[used],
        "node_lon": raw.node_lon[used],
        "node_kind": raw.node_kind[used],
        "shape_lat": lat,
        "shape_lon": lon,
        "seg_from": at[points.node[starts]],
        "seg_to": at[points.node[ends]],
        "seg_first": starts,
        "seg_last": ends,
        "seg_way": raw.way_ids[way],
        "seg_name": raw.way_name[way],
        "seg_class": np.array([r.road_class for r in rules], np.uint8)[rule],
        "seg_dm": np.maximum(1, np.rint(length * 10)).astype(np.int32),
        "seg_last_mile": np.array([r.last_mile for r in rules], bool)[rule],
        "seg_ring": np.array([r.is_ring for r in rules], bool)[rule],
    }
    columns["seg_last_mile"] &= ~_joins_streets(columns, raw, rule)
    share: Floats = length / np.maximum(1e-9, _way_metres(way, length))
    return _with_arcs(raw, columns, rule, inner, share)


def _joins_streets(columns: dict[str, NDArray], raw: RawRoads, rule: Small) -> Flags:
    """Short one-way service ways from street to street, where avenues are crossed or turned round in: no last mile."""
    joining = np.array([r.may_join and (r.forward_kmh > 0) != (r.backward_kmh > 0) for r in raw.rules], bool)[rule]
    ends = columns["seg_from"], columns["seg_to"]
    on_street = np.zeros(int(max(end.max(initial=-1) for end in ends)) + 1, bool)
    for end in ends:
        on_street[end[~columns["seg_last_mile"]]] = True
    joins: Flags = joining & (columns["seg_dm"] <= JOINING_DM) & on_street[ends[0]] & on_street[ends[1]]
    return np.asarray(joins & (ends[0] != ends[1]))


def _way_metres(way: Ints, length: Floats) -> Floats:
    return np.asarray(np.bincount(way, weights=length)[way], np.float64)


def _deciding(raw: RawRoads, points: _Points) -> Flags:
    """Nodes where ways begin, end or meet, where a barrier stands, or where a turn rule hangs."""
    uses = np.bincount(points.node, minlength=len(raw.node_ids))
    deciding = uses > 1
    deciding[points.node[points.is_first | points.is_last]] = True
    deciding |= (raw.node_kind & (NodeKind.SHUT | NodeKind.TO_THE_DOOR | NodeKind.GATE)) > 0
    via = np.array([node for rule in raw.turn_rules for node in rule.via_nodes], np.int64)
    deciding |= np.isin(raw.node_ids, via)
    return deciding


def _inner_signals(raw: RawRoads, points: _Points, starts: Ints, ends: Ints) -> Ints:
    """How many signals stand within each segment, its ends not counted."""
    signals = (raw.node_kind[points.node] & NodeKind.SIGNALS) > 0
    before = np.concatenate([[0], np.cumsum(signals)])
    inner: Ints = before[ends] - before[np.minimum(starts + 1, ends)]
    return inner


def _with_arcs(raw: RawRoads, columns: dict[str, NDArray], rule: Small, inner: Ints, share: Floats) -> Streets:
    rules = raw.rules
    ahead_kmh = np.array([r.forward_kmh for r in rules], float)[rule]
    back_kmh = np.array([r.backward_kmh for r in rules], float)[rule]
    ferry_ms = np.array([r.ferry_minutes for r in rules], float)[rule] * 60_000 * share
    ahead, back = np.flatnonzero(ahead_kmh > 0), np.flatnonzero(back_kmh > 0)
    segment = np.concatenate([ahead, back])
    is_ahead = np.concatenate([np.ones(len(ahead), bool), np.zeros(len(back), bool)])
    kmh = np.concatenate([ahead_kmh[ahead], back_kmh[back]])
    tail = np.where(is_ahead, columns["seg_from"][segment], columns["seg_to"][segment])
    head = np.where(is_ahead, columns["seg_to"][segment], columns["seg_from"][segment])
    head_kind = columns["node_kind"][head]
    fixed: Ints = SIGNALS_MS * (inner[segment] + ((head_kind & NodeKind.SIGNALS) > 0))
    fixed = fixed + GATE_MS * ((head_kind & NodeKind.GATE) > 0)
    driving: Floats = np.maximum(1.0, np.rint(columns["seg_dm"][segment] * 360.0 / kmh))
    driving = np.where(ferry_ms[segment] > 0, ferry_ms[segment], driving)
    order = np.lexsort((is_ahead, segment))
    place = np.full((len(share), 2), -1, np.int32)
    place[segment[order], is_ahead[order].astype(int)] = np.arange(len(order), dtype=np.int32)
    twin = place[segment[order], 1 - is_ahead[order].astype(int)]
    return Streets(
        **columns,
        arc_tail=tail[order].astype(np.int32),
        arc_head=head[order].astype(np.int32),
        arc_seg=segment[order].astype(np.int32),
        arc_ahead=is_ahead[order],
        arc_ms=(driving + fixed)[order].astype(np.int32),
        arc_fixed_ms=fixed[order].astype(np.int32),
        arc_twin=twin,
        names=raw.names,
    )


def _without_islands(streets: Streets, dropped: Counter[str]) -> Streets:
    """Leave out the pieces that hang together with nothing; two large ones both stay."""
    count = streets.nodes
    ends = [streets.seg_from.astype(np.int64), streets.seg_to.astype(np.int64)]
    for column in ends:  # a shut node joins nothing: each segment gets an end of its own there
        shut = np.flatnonzero(streets.node_kind[column] & NodeKind.SHUT)
        column[shut] = count + np.arange(len(shut))
        count += len(shut)
    links = coo_array((np.ones(len(ends[0]), np.int8), (ends[0], ends[1])), shape=(count, count))
    _pieces, piece = connected_components(links, directed=False)
    seg_piece = piece[ends[0]]
    size = np.bincount(seg_piece[streets.arc_seg])
    small = (size < ISLAND_ARCS) & (size < ISLAND_SHARE * size.max(initial=0))
    dropped["small islands"] += int(np.count_nonzero(small & (size > 0)))
    dropped["arcs on small islands"] += int(size[small].sum())
    return _only_arcs(streets, ~small[seg_piece[streets.arc_seg]])


def _only_arcs(streets: Streets, keep: Flags) -> Streets:
    if keep.all():
        return streets
    place = np.full(len(keep) + 1, -1, np.int32)
    place[:-1][keep] = np.arange(np.count_nonzero(keep), dtype=np.int32)
    names = ("arc_tail", "arc_head", "arc_seg", "arc_ahead", "arc_ms", "arc_fixed_ms", "arc_twin")
    arcs = {name: getattr(streets, name)[keep] for name in names}
    return replace(streets, **(arcs | {"arc_twin": place[arcs["arc_twin"]]}))
