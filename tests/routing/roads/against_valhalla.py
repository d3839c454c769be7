"""Our drive times beside those of Valhalla on the same streets.

Places stand in the middle of streets at least 40 m long, where both join the same street. Pairs whose quickest way
turns round at the end of a street are left out and counted: in a clipped extract such an end is where the file stops,
and the two differ on whether one may turn there.
"""

import random
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.stats import spearmanr

from routing.roads.domain.graph import RoadGraph
from routing.roads.domain.router import Router
from routing.roads.domain.snapping import NO_STOPPING, Snap
from routing.roads.domain.speeds import FREE
from tests.routing.roads.valhalla_peer import Point, valhalla_running

LEAST_DM = 400
FAR_OFF = 1.4


@dataclass(frozen=True)
class Comparison:
    """`ratio` are our times over theirs, pair by pair, after one factor for all: `factor`, the median of the ratios
    of the first half of the places. `reached_by_one` are pairs that one can drive and the other cannot."""

    pairs: int
    turned_round: int
    reached_by_one: int
    factor: float
    median_ratio: float
    rank: float


def compare(graph: RoadGraph, extract: Path, folder: Path, work: Path, *, places: int) -> Comparison:
    """Build Valhalla's tiles of the extract, start its service, and compare all pairs of so many places."""
    points = places_on(graph, places)
    snaps = [snap for point in points if (snap := graph.snap(point)) is not None]
    assert len(snaps) == places
    router = graph.router(FREE)
    ours = router.costs(snaps, snaps)[0] / 1000
    with valhalla_running(folder, extract, work) as valhalla:
        theirs = np.array(valhalla.matrix(points)[0], float)
        for a, b in zip(*_far_off(ours, theirs), strict=True):
            theirs[a, b] = valhalla.seconds(points[a], points[b])
    apart = ~np.eye(places, dtype=bool)
    one = apart & ((ours < 0) != np.isnan(theirs))
    round_about = np.array([[turns_round(graph, router, a, b) for b in snaps] for a in snaps])
    both = apart & (ours > 0) & (theirs > 0) & ~round_about
    ratio = np.where(both, ours / np.where(both, theirs, 1.0), np.nan)
    half = places // 2
    factor = float(np.nanmedian(ratio[:half, :half]))
    return Comparison(
        pairs=int(both.sum()),
        turned_round=int((round_about & apart).sum()),
        reached_by_one=int(one.sum()),
        factor=factor,
        median_ratio=float(np.nanmedian(ratio[half:, half:])) / factor,
        rank=float(spearmanr(ours[both], theirs[both])[0]),
    )


def _far_off(ours: np.ndarray, theirs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs whose times differ by more than FAR_OFF from the usual: there Valhalla is asked for the way itself."""
    both = (ours > 0) & (theirs > 0)
    ratio = np.where(both, ours / np.where(both, theirs, 1.0), np.nan)
    ratio = ratio / np.nanmedian(ratio)
    rows, columns = np.nonzero((ratio > FAR_OFF) | (ratio < 1 / FAR_OFF))
    return rows, columns


def places_on(graph: RoadGraph, count: int, seed: int = 7) -> list[Point]:
    """The middles of so many streets on which one may stop and from which one may come back."""
    streets = graph.streets
    good = np.zeros(len(streets.seg_from), bool)
    good[streets.arc_seg[graph.turns.both_ways]] = True
    good &= ~streets.seg_last_mile & (streets.seg_dm >= LEAST_DM) & ~np.isin(streets.seg_class, NO_STOPPING)
    chosen = random.Random(seed).sample(np.flatnonzero(good).tolist(), count)
    return [_middle(graph, segment) for segment in chosen]


def _middle(graph: RoadGraph, segment: int) -> Point:
    streets = graph.streets
    part = slice(int(streets.seg_first[segment]), int(streets.seg_last[segment]) + 1)
    lat, lon = streets.shape_lat[part] * 1e-7, streets.shape_lon[part] * 1e-7
    steps = np.hypot(np.diff(lat), np.diff(lon) * np.cos(np.radians(lat[0])))
    at = np.concatenate([[0.0], np.cumsum(steps)])
    return float(np.interp(at[-1] / 2, at, lat)), float(np.interp(at[-1] / 2, at, lon))


def turns_round(graph: RoadGraph, router: Router, start: Snap, end: Snap) -> bool:
    """Whether the quickest way drives a street and then the same one back."""
    way = router.way(start, end)
    arcs = way.arcs if way else ()
    return any(graph.streets.arc_twin[a] == b for a, b in zip(arcs, arcs[1:], strict=False))
