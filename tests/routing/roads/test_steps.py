"""Turns and streets of a way, and the line along it."""

from pathlib import Path
from typing import Any

import pytest
from django.utils.translation import override
from hypothesis import given, settings
from hypothesis import strategies as st

from routing.roads.domain.graph import RoadGraph, road_graph_of
from routing.roads.domain.speeds import FREE
from routing.roads.domain.steps import steps_of
from routing.roads.domain.way import Step, Turn, Way, turn_of
from routing.roads.models import RoadWay
from routing.roads.services.build import roads_build
from routing.roads.services.extract import extract_read
from routing.roads.services.ways import ways_between, ways_keep
from routing.roads.words import step_words
from tests.routing.roads.land import SOUTH, WEST, write_land
from tests.routing.roads.streets import Place, Streets, at


def steps(graph: RoadGraph, start: Place, end: Place) -> list[tuple[str, str, int]]:
    snaps = [graph.snap(at(start)), graph.snap(at(end))]
    leg = graph.router(FREE).way(*snaps)  # type: ignore[arg-type]
    assert leg is not None
    return [(step.turn.value, step.street, step.metres) for step in steps_of(graph, leg, *snaps)]  # type: ignore[arg-type]


@pytest.mark.parametrize(("side", "turn"), [(1, "right"), (-1, "left")])
def test_a_turn_at_a_crossing(tmp_path: Path, side: int, turn: str) -> None:
    """600 m up Elm Street from 100 m beyond its end, then 300 m into Mill Lane; the mirrored town turns left."""
    town = Streets({"A": (0, 0), "B": (0, 700), "C": (0, 1400), "D": (side * 700, 700)})
    town.way("ABC", name="Elm Street")
    town.way("BD", name="Mill Lane")
    graph = town.graph(tmp_path)
    assert steps(graph, (0, 100), (side * 300, 700)) == [("start", "Elm Street", 600), (turn, "Mill Lane", 300)]


def test_a_street_that_bends_is_one_street(tmp_path: Path) -> None:
    """A bend between two crossings is no turn, and neither is a crossing that is passed straight on."""
    town = Streets({"A": (0, 0), "B": (0, 500), "C": (500, 500), "D": (1000, 500), "E": (500, 900)})
    town.way("ABCD", name="Elm Street")
    town.way("CE", name="Mill Lane")
    assert steps(town.graph(tmp_path), (0, 100), (900, 500)) == [("start", "Elm Street", 1300)]


def test_a_roundabout_counts_its_exits(tmp_path: Path) -> None:
    """A ring of 100 m sides, driven counter-clockwise from the south: east is the first exit, north the second."""
    town = Streets(
        {"S": (0, -400), "a": (0, -50), "b": (50, 0), "c": (0, 50), "d": (-50, 0), "E": (400, 0), "N": (0, 400)}
    )
    town.way("abcda", junction="roundabout", name="Ring")
    town.way("Sa", name="South Road")
    town.way("bE", name="East Road")
    town.way("cN", name="North Road")
    graph = town.graph(tmp_path)
    by_exit = {}
    for goal in ((300, 0), (0, 300)):
        snaps = [graph.snap(at((0, -300))), graph.snap(at(goal))]
        leg = graph.router(FREE).way(*snaps)  # type: ignore[arg-type]
        found = steps_of(graph, leg, *snaps)  # type: ignore[arg-type]
        assert [step.turn for step in found] == [Turn.START, Turn.ROUNDABOUT]
        by_exit[found[1].street] = found[1].exit
    assert by_exit == {"East Road": 1, "North Road": 2}


@pytest.mark.parametrize(
    ("angle", "turn"),
    [(0, "straight"), (19, "straight"), (-30, "slight_left"), (30, "slight_right"), (90, "right"), (-90, "left"),
     (130, "sharp_right"), (-130, "sharp_left"), (180, "back"), (-175, "back")],
)  # fmt: skip
def test_bends_in_words(angle: float, turn: str) -> None:
    assert turn_of(angle) == turn


@given(st.floats(-180, 180))
def test_a_mirrored_bend_has_the_mirrored_word(angle: float) -> None:
    mirrored = turn_of(angle).replace("left", "x").replace("right", "left").replace("x", "right")
    assert turn_of(-angle) == mirrored


@pytest.fixture(scope="module")
def land(tmp_path_factory: pytest.TempPathFactory) -> RoadGraph:
    path = tmp_path_factory.mktemp("land") / "land.osm.pbf"
    write_land(path, crossings=400)
    return road_graph_of(extract_read(path))[0]


PLACES = st.tuples(st.floats(SOUTH, SOUTH + 0.025), st.floats(WEST, WEST + 0.03))


@settings(deadline=None, max_examples=60)
@given(PLACES, PLACES)
def test_steps_are_as_long_as_the_way(land: RoadGraph, start: tuple, end: tuple) -> None:
    """Their metres add up to the way's, each rounded once; one start, and no turn onto the street that goes on."""
    snaps = [land.snap(start), land.snap(end)]
    if None in snaps:
        return
    leg = land.router(FREE).way(*snaps)  # type: ignore[arg-type]
    found = steps_of(land, leg, *snaps) if leg else ()  # type: ignore[arg-type]
    if not found:
        return
    assert sum(step.metres for step in found) == pytest.approx(leg.decimetres / 10, abs=len(leg.arcs) + 1)
    assert [step.turn for step in found].count(Turn.START) == 1
    assert all(a.street != b.street or b.turn not in (Turn.STRAIGHT, Turn.SLIGHT_LEFT, Turn.SLIGHT_RIGHT)
               for a, b in zip(found, found[1:], strict=False))  # fmt: skip


def test_steps_in_words_of_both_languages() -> None:
    """Short ways in feet, longer ones in miles; 644 m are 0.4 mi, 61 m are 200 ft."""
    left, unnamed = Step(Turn.LEFT, "Mill Lane", 644), Step(Turn.SHARP_RIGHT, "", 61)
    out, ring = Step(Turn.START, "Elm Street", 1609, heading=275), Step(Turn.ROUNDABOUT, "East Road", 1609, exit=2)
    assert [step_words(step) for step in (left, unnamed, out, ring)] == [
        "left into Mill Lane, 0.4 mi",
        "sharp right, 200 ft",
        "west on Elm Street, 1.0 mi",
        "roundabout, exit 2 into East Road, 1.0 mi",
    ]
    with override("es"):
        assert step_words(left) == "a la izquierda por Mill Lane, 0.4 mi"
        assert step_words(out) == "hacia el oeste por Elm Street, 1.0 mi"


@pytest.mark.django_db
def test_ways_are_searched_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without roads straight lines; with them lines along the streets, kept when asked to, and none where none is."""
    places = [(SOUTH + 0.002, WEST + 0.002), (SOUTH + 0.01, WEST + 0.012), (SOUTH + 2, WEST)]
    assert ways_between(places) == [Way((places[0], places[1])), Way((places[1], places[2]))]
    write_land(tmp_path / "land.osm.pbf", crossings=300)
    roads_build(path=tmp_path / "land.osm.pbf")
    near, far = ways_between(places)
    assert near.is_road
    assert (near.line[0], near.line[-1]) == (places[0], places[1])
    assert len(near.line) > 3
    assert near.steps[0].turn == Turn.START
    assert far == Way((places[1], places[2]))
    assert not RoadWay.objects.exists()
    assert ways_keep(places) == 2
    monkeypatch.setattr("routing.roads.services.way_search.way_search", _never)
    assert ways_between(places) == [near, far]
    assert ways_keep(places) == 0
    assert RoadWay.objects.count() == 2


def _never(*_any: Any) -> None:
    raise AssertionError("searched again")
