"""What a map shows, as GeoJSON after RFC 7946."""

import json
import os
import subprocess
import sys
from typing import Any

from django.template import Context, Template
from hypothesis import given
from hypothesis import strategies as st

from shared.web.maps import Line, Mark, Shape, feature_collection, legend_lines, legend_shapes

PLACES = st.tuples(st.floats(-90, 90), st.floats(-180, 180))


def test_positions_are_longitude_first() -> None:
    """RFC 7946, section 3.1.1: longitude, latitude, in decimal degrees."""
    found = feature_collection([Mark(40.0125, -83.0210, "yard")], [Line([(40.0, -83.0), (40.1, -83.2)], "a")])
    line, mark = found["features"]
    assert mark["geometry"] == {"type": "Point", "coordinates": [-83.021, 40.0125]}
    assert line["geometry"] == {"type": "LineString", "coordinates": [[-83.0, 40.0], [-83.2, 40.1]]}


@given(st.lists(st.lists(PLACES, max_size=4), max_size=4))
def test_each_line_has_two_places_or_more(lines: list[list[tuple[float, float]]]) -> None:
    """RFC 7946, section 3.1.4: a LineString has two or more positions; shorter ones are left out, longer ones kept."""
    found = feature_collection([], [Line(places, "a") for places in lines])
    assert [len(one["geometry"]["coordinates"]) for one in found["features"]] == [len(p) for p in lines if len(p) > 1]
    json.dumps(found, allow_nan=False)


def test_a_legend_names_each_kind_once() -> None:
    """Two stops are one kind of mark; two parts of a route are one kind of line."""
    marks = [Mark(0, 0, "a", shape=Shape.STOP, legend="stop"), Mark(1, 1, "b", shape=Shape.STOP, legend="stop")]
    assert legend_shapes([*marks, Mark(2, 2, "c")]) == [(Shape.STOP, "stop")]
    lines = [Line([(0, 0)], "Crew A", 1), Line([(1, 1)], "Crew A", 1), Line([(2, 2)], "Crew B", 2)]
    assert legend_lines(lines) == [(1, "Crew A"), (2, "Crew B")]


def test_what_people_wrote_cannot_end_the_data() -> None:
    """A title that looks like markup stays a title, inside the script element and outside it."""
    mark = Mark(0, 0, "</script><b>x", legend="<i>kind", shape=Shape.STOP)
    text = Template("{% load wallday %}{% place_map marks title=title %}").render(
        Context({"marks": [mark], "title": '"<u>'})
    )
    assert "</script><b>" not in text
    assert "<i>" not in text
    assert "<u>" not in text
    assert "ODbL" in text


def test_a_tile_server_is_named_with_its_words(settings: Any) -> None:
    """Off by default; where one is set the map gets its address and says whose the tiles are."""
    render = Template("{% load wallday %}{% place_map marks %}").render
    assert 'data-tiles=""' in render(Context({"marks": []}))
    settings.WALLDAY_TILE_URL = "https://tiles.example.com/{z}/{x}/{y}.png"
    settings.WALLDAY_TILE_SOURCE = "Tiles by Example"
    text = render(Context({"marks": []}))
    assert 'data-tiles="https://tiles.example.com/{z}/{x}/{y}.png"' in text
    assert "Tiles by Example" in text


def test_the_policy_names_the_tile_server_and_nothing_else() -> None:
    """Pictures may come from it; everything else stays with our own server."""
    url = "https://tiles.example.com:8443/{z}/{x}/{y}.png"
    command = "from config.settings.base import CONTENT_SECURITY_POLICY as p; print(p['DIRECTIVES']['img-src'])"
    told = subprocess.run(
        [sys.executable, "-c", command], env=os.environ | {"WALLDAY_TILE_URL": url}, capture_output=True, text=True,
        check=True, timeout=60,
    )  # fmt: skip
    assert told.stdout.strip() == "[\"'self'\", 'data:', 'https://tiles.example.com:8443']"
