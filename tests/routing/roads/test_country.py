"""The invented country of the benchmark: an extract like any other, in which every town can be driven to."""

from pathlib import Path

import pytest

from routing.roads.domain.graph import RoadGraph, road_graph_of
from routing.roads.domain.speeds import CLASS_NUMBER, FREE
from routing.roads.services.extract import extract_read
from tests.routing.roads.against_valhalla import places_on
from tests.routing.roads.country import write_country


@pytest.fixture(scope="module")
def country(tmp_path_factory: pytest.TempPathFactory) -> RoadGraph:
    path = tmp_path_factory.mktemp("country") / "country.osm.pbf"
    assert write_country(path, towns=3, side=12) == 9 * 144
    return road_graph_of(extract_read(path))[0]


def test_every_town_reaches_every_other(country: RoadGraph) -> None:
    """Towns are 7.8 km apart: the farthest drive of 40 places is longer than that, and none is missing."""
    snaps = [snap for place in places_on(country, 40) if (snap := country.snap(place)) is not None]
    _ms, dm = country.router(FREE).costs(snaps, snaps)
    assert (dm >= 0).all()
    assert dm.max() > 78_000


def test_some_drives_take_the_motorway(country: RoadGraph) -> None:
    """At least a tenth of those between twelve places, where it is quicker than the roads; none stops on it."""
    motorway = CLASS_NUMBER["motorway"]
    arc_class = country.streets.seg_class[country.streets.arc_seg]
    snaps = [snap for place in places_on(country, 12) if (snap := country.snap(place)) is not None]
    assert motorway not in {int(country.streets.seg_class[snap.segment]) for snap in snaps}
    router = country.router(FREE)
    ways = [way for a in snaps for b in snaps if (way := router.way(a, b)) is not None]
    assert sum(motorway in arc_class[list(way.arcs)] for way in ways) >= len(ways) / 10


def test_the_same_seed_writes_the_same_roads(country: RoadGraph, tmp_path: Path) -> None:
    write_country(tmp_path / "again.osm.pbf", towns=3, side=12)
    assert road_graph_of(extract_read(tmp_path / "again.osm.pbf"))[0].version == country.version
