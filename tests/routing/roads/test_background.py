"""The roads as the ground of a map."""

import json
from pathlib import Path

import numpy as np
import pytest
import shapely
from django.test import Client
from hypothesis import given, settings
from hypothesis import strategies as st

from routing.roads.domain import background
from routing.roads.domain.background import FROM_ZOOM, Box, background_of
from routing.roads.domain.graph import RoadGraph, road_graph_of
from routing.roads.domain.network import DEGREES_PER_UNIT
from routing.roads.services.build import roads_build
from routing.roads.services.extract import extract_read
from tests.factories import make_user
from tests.routing.roads.land import SOUTH, WEST, write_land

EVERYWHERE = Box(-180, -90, 180, 90)
URL = "/api/roads/background/"


@pytest.fixture(scope="module")
def land(tmp_path_factory: pytest.TempPathFactory) -> RoadGraph:
    path = tmp_path_factory.mktemp("land") / "land.osm.pbf"
    write_land(path, crossings=1_700)  # a line of each class: every 40th is primary
    return road_graph_of(extract_read(path))[0]


def lines_of(features: tuple[dict, ...]) -> shapely.MultiLineString:
    return shapely.MultiLineString([line for one in features for line in one["geometry"]["coordinates"]])


def truth_of(graph: RoadGraph) -> shapely.MultiLineString:
    streets = graph.streets
    places = np.stack([streets.shape_lon, streets.shape_lat], axis=1) * DEGREES_PER_UNIT
    driven = sorted(set(streets.arc_seg.tolist()))
    return shapely.MultiLineString([places[streets.seg_first[s] : streets.seg_last[s] + 1] for s in driven])


def test_near_by_every_street_is_drawn_where_it_is(land: RoadGraph) -> None:
    """At zoom 17 half a pixel is 0.5 m: no road that is driven is missing, and none lies elsewhere."""
    drawn = lines_of(background_of(land.streets, EVERYWHERE, 17).features)
    half_a_pixel = 180 / (256 * 2**17)
    assert shapely.hausdorff_distance(drawn, truth_of(land)) <= 2 * half_a_pixel
    assert drawn.length == pytest.approx(truth_of(land).length, rel=1e-3)


def test_far_away_only_large_roads_are_drawn(land: RoadGraph) -> None:
    """Classes by zoom, the least important first so that the others are drawn over them."""
    for zoom in range(21):
        classes = [one["properties"]["class"] for one in background_of(land.streets, EVERYWHERE, zoom).features]
        assert set(classes) == {
            name for name in ("primary", "secondary", "tertiary", "residential") if FROM_ZOOM[name] <= zoom
        }
        assert classes == sorted(classes, key=lambda name: -background.RANK[name])


def test_a_large_answer_leaves_whole_classes_out_and_says_so(land: RoadGraph, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(background, "MOST_POINTS", 2_000)
    found = background_of(land.streets, EVERYWHERE, 17)
    assert found.left_out == ("residential",)
    assert sum(len(line) for one in found.features for line in one["geometry"]["coordinates"]) <= 2_000
    assert {one["properties"]["class"] for one in found.features} == {"primary", "secondary", "tertiary"}


@settings(deadline=None, max_examples=25)
@given(st.floats(-0.02, 0.08), st.floats(-0.02, 0.08), st.floats(0.001, 0.05))
def test_a_box_holds_what_touches_it(land: RoadGraph, north: float, east: float, size: float) -> None:
    """Every road inside the box is drawn, whichever box is asked for."""
    box = Box(WEST + east, SOUTH + north, WEST + east + size, SOUTH + north + size)
    inside = shapely.box(box.west, box.south, box.east, box.north)
    found = lines_of(background_of(land.streets, box, 17).features)
    assert shapely.intersection(found, inside).length == pytest.approx(
        shapely.intersection(truth_of(land), inside).length, rel=2e-3, abs=2e-4
    )


@pytest.mark.parametrize("box", [(1, 0, 0, 1), (0, 1, 1, 0), (-181, 0, 0, 1), (0, 0, 1, 91), (float("nan"), 0, 1, 1)])
def test_a_box_that_is_none_is_refused(box: tuple[float, float, float, float]) -> None:
    with pytest.raises(ValueError, match="box"):
        Box(*box)


@pytest.mark.django_db
def test_the_address_answers_with_the_roads_in_use(client: Client, tmp_path: Path) -> None:
    """Nobody's to see without signing in; empty without roads; then GeoJSON that a browser may keep."""
    query = {"bbox": f"{WEST},{SOUTH},{WEST + 1},{SOUTH + 1}", "zoom": 15}
    assert client.get(URL, query).status_code == 401
    client.force_login(make_user(role="crew_lead"))
    assert client.get(URL, query).json() == {"type": "FeatureCollection", "features": []}
    write_land(tmp_path / "land.osm.pbf", crossings=100)
    roads_build(path=tmp_path / "land.osm.pbf")
    answer = client.get(URL, query)
    assert answer["Content-Type"] == "application/geo+json"
    assert "private" in answer["Cache-Control"]
    assert len(json.loads(answer.content)["features"]) > 5


@pytest.mark.django_db
@pytest.mark.parametrize(
    "query",
    [{"zoom": 3}, {"bbox": "0,0,1,1"}, {"bbox": "0,0,1", "zoom": 3}, {"bbox": "a,b,c,d", "zoom": 3},
     {"bbox": "1,0,0,1", "zoom": 3}, {"bbox": "0,0,1,1", "zoom": 21}, {"bbox": "nan,0,1,1", "zoom": 3}],
)  # fmt: skip
def test_a_bad_question_is_answered_with_what_is_wrong(client: Client, query: dict) -> None:
    client.force_login(make_user(role="owner"))
    answer = client.get(URL, query)
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
