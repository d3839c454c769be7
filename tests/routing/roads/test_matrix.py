"""The levelled search against a plain one: on thousands of crossings and on random ones, the same costs to the last
millisecond and decimetre."""

import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from routing.roads.domain.graph import RoadGraph, road_graph_of
from routing.roads.domain.kernel import UNIT
from routing.roads.domain.overlay import Overlay
from routing.roads.domain.router import part_cost
from routing.roads.domain.snapping import Snap
from routing.roads.domain.speeds import DEFAULT_HOURS, FREE, HourClass
from routing.roads.services.extract import extract_read
from tests.routing.roads.land import write_land
from tests.routing.roads.streets import Streets, at


@pytest.fixture(scope="module")
def land(tmp_path_factory: pytest.TempPathFactory) -> RoadGraph:
    path = tmp_path_factory.mktemp("land") / "land.osm.pbf"
    write_land(path, crossings=3_000, seed=5)
    return road_graph_of(extract_read(path))[0]


def places_of(graph: RoadGraph, count: int, seed: int) -> list[Snap]:
    draw = random.Random(seed)
    lat, lon = graph.streets.node_lat * 1e-7, graph.streets.node_lon * 1e-7
    found: list[Snap] = []
    while len(found) < count:
        snap = graph.snap((draw.uniform(lat.min(), lat.max()), draw.uniform(lon.min(), lon.max())))
        if snap is not None:
            found.append(snap)
    return found


def plain_costs(graph: RoadGraph, hour: HourClass, snaps: list[Snap]) -> tuple[np.ndarray, np.ndarray]:
    """Dijkstra's algorithm (SciPy's) on every turn, with the parts of the first and last street worked out here."""
    turns, overlay = graph.turns, graph.overlay(hour)
    vertices = len(turns.first) - 1
    tails = np.repeat(np.arange(vertices), np.diff(turns.first))
    arc_cost = np.asarray(overlay.arc_cost, np.float64)
    weights = turns.turn_ms.astype(np.float64) * UNIT + arc_cost[turns.arc_of[turns.turn_to]]
    matrix = csr_array((weights, (tails, turns.turn_to)), shape=(vertices, vertices))
    ms, dm = np.full((len(snaps), len(snaps)), -1), np.full((len(snaps), len(snaps)), -1)
    for a, start in enumerate(snaps):
        cost = _from(graph, overlay, matrix, start)
        for b, end in enumerate(snaps):
            best = min(_along(graph, overlay, start, end), _onto(graph, overlay, cost, end))
            if best < np.inf:
                ms[a, b], dm[a, b] = divmod(int(best), UNIT)
    return ms, dm


def _ports(graph: RoadGraph, snap: Snap) -> list[tuple[int, float]]:
    share = snap.along_dm / max(1, int(graph.streets.seg_dm[snap.segment]))
    arcs = np.flatnonzero(graph.streets.arc_seg == snap.segment)
    return [(int(arc), share if graph.streets.arc_ahead[arc] else 1.0 - share) for arc in arcs]


def _from(graph: RoadGraph, overlay: Overlay, matrix: csr_array, start: Snap) -> np.ndarray:
    """Cost of having driven each vertex to its end, from the end of the street on which one starts."""
    best = np.full(matrix.shape[0], np.inf)
    for arc, part in _ports(graph, start):
        rest = part_cost(overlay.arc_cost[arc], 1.0 - part)
        best = np.minimum(best, _reached_by_a_turn(matrix, int(graph.turns.leaving[arc])) + rest)
    return best


def _reached_by_a_turn(matrix: csr_array, source: int) -> np.ndarray:
    """Distances from a vertex by at least one turn: back on the same street only after a way around."""
    lengths = dijkstra(matrix, indices=source)
    into = matrix.tocsc()[:, [source]].tocoo()
    around = min((lengths[tail] + weight for tail, weight in zip(into.row, into.data, strict=True)), default=np.inf)
    lengths[source] = around
    return lengths


def _onto(graph: RoadGraph, overlay: Overlay, cost: np.ndarray, end: Snap) -> float:
    best = np.inf
    for arc, part in _ports(graph, end):
        beyond = int(overlay.arc_cost[arc]) - part_cost(overlay.arc_cost[arc], part)
        best = min(best, *(cost[vertex] - beyond for vertex in {arc, int(graph.turns.leaving[arc])}))
    return float(best)


def _along(graph: RoadGraph, overlay: Overlay, start: Snap, end: Snap) -> float:
    if start.segment != end.segment:
        return np.inf
    if start.along_dm == end.along_dm:
        return 0.0
    parts = dict(_ports(graph, start))
    ways = [
        part_cost(overlay.arc_cost[arc], part) - part_cost(overlay.arc_cost[arc], parts[arc])
        for arc, part in _ports(graph, end)
        if part > parts[arc]
    ]
    return float(min(ways, default=np.inf))


@pytest.mark.parametrize("hour", [FREE, DEFAULT_HOURS[1]], ids=["free", "morning"])
def test_the_levels_change_nothing(land: RoadGraph, hour: HourClass) -> None:
    """Forty places on some 3,000 crossings with one-way streets and forbidden turns, at two hours."""
    snaps = places_of(land, 40, seed=3)
    ms, dm = land.router(hour).costs(snaps, snaps)
    plain_ms, plain_dm = plain_costs(land, hour, snaps)
    assert np.array_equal(ms, plain_ms)
    assert np.array_equal(dm, plain_dm)
    assert (ms >= 0).mean() > 0.9


def test_one_row_and_one_column_are_those_of_the_whole(land: RoadGraph) -> None:
    """Many to one and one to many, which search the other way round."""
    snaps = places_of(land, 25, seed=4)
    router = land.router(FREE)
    whole = router.costs(snaps, snaps)[0]
    assert np.array_equal(router.costs(snaps[:1], snaps)[0], whole[:1])
    assert np.array_equal(router.costs(snaps, snaps[:1])[0], whole[:, :1])


def test_a_way_costs_what_the_matrix_says(land: RoadGraph) -> None:
    """Whether there is one, its time and its length."""
    snaps = places_of(land, 12, seed=6)
    router = land.router(FREE)
    ms, dm = router.costs(snaps, snaps)
    for a, start in enumerate(snaps):
        for b, end in enumerate(snaps):
            way = router.way(start, end)
            found = (way.milliseconds, way.decimetres) if way else (-1, -1)
            assert found == (int(ms[a, b]), int(dm[a, b]))


NAMES = "abcdefghi"
PAIRS = [(a, b) for a in NAMES for b in NAMES if a < b]
TAGS = st.sampled_from([{}, {"oneway": "yes"}, {"oneway": "-1"}, {"maxspeed": "20"}, {"highway": "service"}])


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(data=st.data())
def test_random_streets(data: st.DataObject, tmp_path: Path) -> None:
    """Up to nine crossings joined at random, one-way and slow streets among them."""
    names = NAMES
    points = {name: (300.0 * (number % 3), 300.0 * (number // 3)) for number, name in enumerate(names)}
    streets = Streets(points)
    pairs = data.draw(
        st.lists(st.sampled_from([(a, b) for a in names for b in names if a < b]), min_size=8, max_size=16, unique=True)
    )
    for a, b in pairs:
        streets.way(a + b, **data.draw(TAGS))
    graph = streets.graph(tmp_path)
    snaps = [snap for place in points.values() if (snap := graph.snap(at((place[0] + 40, place[1] + 30)))) is not None]
    ms, dm = graph.router(FREE).costs(snaps, snaps)
    plain_ms, plain_dm = plain_costs(graph, FREE, snaps)
    assert np.array_equal(ms, plain_ms)
    assert np.array_equal(dm, plain_dm)
