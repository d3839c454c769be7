"""The sketch map: places in degrees become a drawing."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.geo import great_circle_metres
from shared.web.sketch import DOT_GAP, MARGIN, NARROW, WIDE, Projection, sketch_of, spread

PLACE = st.tuples(st.floats(39.5, 40.5), st.floats(-83.0, -82.0))


def route(label: str, places: list[tuple[float, float]]) -> dict[str, object]:
    return {"label": label, "stops": [{"latitude": lat, "longitude": lon} for lat, lon in places]}


@given(st.lists(st.lists(PLACE, max_size=6), max_size=4), st.none() | PLACE, st.sampled_from([WIDE, NARROW]))
def test_every_mark_is_inside(routes: list[list], yard: tuple | None, width: int) -> None:
    """Stops and yard lie within the drawing, each stop with its number."""
    made = sketch_of([route(f"r{i}", places) for i, places in enumerate(routes)], yard=yard, width=width)
    marks = [mark for one in made.routes for mark in one.stops] + ([made.yard] if made.yard else [])
    assert all(0 <= mark.x <= made.width and 0 <= mark.y <= made.height for mark in marks)
    assert [[mark.text for mark in one.stops] for one in made.routes] == [
        [str(n) for n in range(1, len(places) + 1)] for places in routes if places
    ]
    assert all(1 <= one.style <= 6 for one in made.routes)


def test_distances_are_in_proportion() -> None:
    """Two pairs of places, one north-south and one east-west: their lengths on the page agree with the ground's."""
    places = [(40.0, -82.0), (40.1, -82.0), (40.05, -82.1), (40.05, -81.9)]
    project = Projection(places, WIDE)
    points = [project(place) for place in places]
    per_metre = [
        math.dist(points[a], points[b]) / great_circle_metres(*places[a], *places[b]) for a, b in ((0, 1), (2, 3))
    ]
    assert per_metre[0] == pytest.approx(per_metre[1], rel=0.002)


def test_the_scale_bar_is_as_long_as_it_says() -> None:
    """The bar's words and its length on the page agree with the great circle."""
    places = [(40.0, -82.0), (40.1, -82.0)]
    project = Projection(places, WIDE)
    length, text = project.scale_bar()
    metres = length / math.dist(project(places[0]), project(places[1])) * great_circle_metres(*places[0], *places[1])
    assert metres / 1609.344 == pytest.approx(float(text.removesuffix(" mi")), rel=0.01)


def test_north_is_up_and_east_is_right() -> None:
    """A stop further north lies higher, one further east lies to the right."""
    made = sketch_of([route("a", [(40.0, -82.0), (40.1, -81.9)])])
    first, second = made.routes[0].stops
    assert second.y < first.y
    assert second.x > first.x


def test_places_without_coordinates_are_left_out() -> None:
    """A property whose place is unknown does not break the picture."""
    made = sketch_of([{"label": "a", "stops": [{"latitude": None, "longitude": None}]}])
    assert made.is_empty


@given(st.lists(st.tuples(st.floats(MARGIN, 600), st.floats(MARGIN, 500)), max_size=8))
def test_crowded_stops_are_parted(points: list[tuple[float, float]]) -> None:
    """A few stops at the same house can all be read afterwards, whether they coincide or not."""
    moved = spread(points, 640, 560)
    for i, here in enumerate(moved):
        for there in moved[i + 1 :]:
            assert math.dist(here, there) > DOT_GAP * 0.6


def test_stops_that_are_apart_stay_where_they_are() -> None:
    """Nothing is moved without need."""
    points = [(100.0, 100.0), (200.0, 100.0)]
    assert spread(points, 640, 560) == points
