"""What a map shows, as GeoJSON after RFC 7946."""

import json

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
