"""Our drive times beside those of Valhalla on the same streets.

Places stand in the middle of streets at least 40 m long, where both join the same street. Pairs whose quickest way
turns round at the end of a street are left out and counted: in a clipped extract such an end is where the file stops,
and the two differ on whether one may turn there.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.stats import spearmanr

from routing.roads.domain.graph import RoadGraph
from routing.roads.domain.router import Router
from routing.roads.domain.snapping import NO_STOPPING, Snap
from routing.roads.domain.speeds import FREE
from tests.routing.roads.valhalla_peer import Point, Valhalla, valhalla_running

LEAST_DM = 400
FAR_OFF = 1.4
HELD_OUT_SEED = 8
KM_PER_DEGREE = 111.195  # of a great circle on a sphere of 6,371.0 km


@dataclass(frozen=True)
class Comparison:
    """`median_ratio` is that of our times over theirs, pair by pair, after one factor for all that was found on other
    pairs: `factor`. `reached_by_one` are pairs that one can drive and the other cannot."""

    pairs: int
    turned_round: int
    reached_by_one: int
    factor: float
    median_ratio: float
    rank: float


def compare(graph: RoadGraph, extract: Path, folder: Path, work: Path, *, places: int) -> tuple[Comparison, Comparison]:
    """Build Valhalla's tiles of the extract, start its service, and compare all pairs of so many places, twice.

    First the places on which the times lost in turns and at signals were chosen; the factor is that of the first half
    of them, the ratio that of the second. Then as many held out: on other streets, never looked at for a choice, with
    the factor of the first.
    """
    chosen = places_on(graph, places)
    held_out = places_on(graph, places, HELD_OUT_SEED, apart_from=chosen)
    with valhalla_running(folder, extract, work) as valhalla:
        first, second = (_times(graph, valhalla, points) for points in (chosen, held_out))
    half = places // 2
    return (
        first.judged(float(np.nanmedian(first.ratio[:half, :half])), first.ratio[half:, half:]),
        second.judged(float(np.nanmedian(first.ratio)), second.ratio),
    )


@dataclass(frozen=True)
class _Times:
    """Seconds between places and which pairs count: those that both drive, and none that turns round on its way."""

    ours: np.ndarray
    theirs: np.ndarray
    round_about: np.ndarray
    one: np.ndarray

    @property
    def both(self) -> np.ndarray:
        counts: np.ndarray = (
            (self.ours > 0) & (self.theirs > 0) & ~self.round_about & ~np.eye(len(self.ours), dtype=bool)
        )
        return counts

    @property
    def ratio(self) -> np.ndarray:
        """Ours over theirs; nan for pairs that do not count."""
        return np.where(self.both, self.ours / np.where(self.both, self.theirs, 1.0), np.nan)

    def judged(self, factor: float, ratio: np.ndarray) -> Comparison:
        both = self.both
        return Comparison(
            pairs=int(both.sum()),
            turned_round=int((self.round_about & ~np.eye(len(both), dtype=bool)).sum()),
            reached_by_one=int(self.one.sum()),
            factor=factor,
            median_ratio=float(np.nanmedian(ratio)) / factor,
            rank=float(spearmanr(self.ours[both], self.theirs[both])[0]),
        )


def _times(graph: RoadGraph, valhalla: Valhalla, points: list[Point]) -> _Times:
    snaps = [snap for point in points if (snap := graph.snap(point)) is not None]
    assert len(snaps) == len(points)
    router = graph.router(FREE)
    ours = router.costs(snaps, snaps)[0] / 1000
    theirs = np.array(valhalla.matrix(points)[0], float)
    for a, b in zip(*_far_off(ours, theirs), strict=True):
        theirs[a, b] = valhalla.seconds(points[a], points[b])
    one = ~np.eye(len(points), dtype=bool) & ((ours < 0) != np.isnan(theirs))
    round_about = np.array([[turns_round(graph, router, a, b) for b in snaps] for a in snaps])
    return _Times(ours, theirs, round_about, one)


def _far_off(ours: np.ndarray, theirs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs whose times differ by more than FAR_OFF from the usual: there Valhalla is asked for the way itself."""
    both = (ours > 0) & (theirs > 0)
    ratio = np.where(both, ours / np.where(both, theirs, 1.0), np.nan)
    ratio = ratio / np.nanmedian(ratio)
    rows, columns = np.nonzero((ratio > FAR_OFF) | (ratio < 1 / FAR_OFF))
    return rows, columns


def places_on(
    graph: RoadGraph, count: int, seed: int = 7, *, within_km: float | None = None, apart_from: Sequence[Point] = ()
) -> list[Point]:
    """The middles of so many streets on which one may stop and from which one may come back; with `within_km` only
    of streets so near to the middle of the land, never of those on which the places `apart_from` lie."""
    streets = graph.streets
    good = np.zeros(len(streets.seg_from), bool)
    good[streets.arc_seg[graph.turns.both_ways]] = True
    good &= ~streets.seg_last_mile & (streets.seg_dm >= LEAST_DM) & ~np.isin(streets.seg_class, NO_STOPPING)
    if within_km is not None:
        good &= _near_the_middle(graph, within_km)
    good[[snap.segment for point in apart_from if (snap := graph.snap(point)) is not None]] = False
    chosen = random.Random(seed).sample(np.flatnonzero(good).tolist(), count)
    return [_middle(graph, segment) for segment in chosen]


def _near_the_middle(graph: RoadGraph, within_km: float) -> np.ndarray:
    lat, lon = graph.streets.node_lat * 1e-7, graph.streets.node_lon * 1e-7
    north, east = (np.mean([column.min(), column.max()]) for column in (lat, lon))
    away = np.hypot(lat - north, (lon - east) * np.cos(np.radians(north))) * KM_PER_DEGREE
    near: np.ndarray = away[graph.streets.seg_from] <= within_km
    return near


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
