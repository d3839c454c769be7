"""Each rule of the road on a few streets drawn by hand; the minutes are worked out in the comments.

Unless a test says otherwise streets allow 60 km/h, so 1,000 m take 60 s. Turns cost what `domain/turns.py` says:
straight on past no lesser street 0.5 s, right 3 s, left 4.5 s; nothing where only two streets meet.
"""

from pathlib import Path

import pytest

from routing.roads.domain.graph import road_graph_of
from routing.roads.domain.network import GATE_MS, SIGNALS_MS
from routing.roads.domain.speeds import HourClass
from routing.roads.domain.turns import AROUND_MS, LEFT_MS, RIGHT_MS, STRAIGHT_MS, YIELD_MS
from routing.roads.services.extract import extract_read
from tests.routing.roads.streets import Streets, at, leg, metres, seconds

# A block of 1,000 m:      c ---- d          with streets sticking out 300 m to the west (w) of a and the east (e)
#                          |      |          of b, so that the corners are real crossings.
#                   w ---- a ---- b ---- e
BLOCK = {
    "w": (-300.0, 0.0), "a": (0.0, 0.0), "b": (1000.0, 0.0), "e": (1300.0, 0.0), "c": (0.0, 1000.0),
    "d": (1000.0, 1000.0),
}  # fmt: skip
START, END = (-200.0, 0.0), (1200.0, 0.0)


def block(**tags_of_ab: str) -> Streets:
    """w-a, a-b, b-e in a row and the detour a-c-d-b; ways 1 to 4."""
    streets = Streets(BLOCK)
    streets.way("wa")
    streets.way("ab", **tags_of_ab)
    streets.way("be")
    streets.way("acdb")
    return streets


def test_straight_through(tmp_path: Path) -> None:
    """200 + 1,000 + 200 m = 84 s, and straight over two crossings: 2 x 2 s."""
    graph = block().graph(tmp_path)
    assert metres(graph, START, END) == 1400
    assert seconds(graph, START, END) == pytest.approx(84 + 2 * STRAIGHT_MS / 1000, abs=0.01)


def test_one_way(tmp_path: Path) -> None:
    """a-b may be driven eastwards only: back it is 200 + 3,000 + 200 m = 204 s, a right turn at b and a right at a."""
    graph = block(oneway="yes").graph(tmp_path)
    assert metres(graph, START, END) == 1400
    assert metres(graph, END, START) == 3400
    assert seconds(graph, END, START) == pytest.approx(204 + 2 * RIGHT_MS / 1000, abs=0.01)


@pytest.mark.parametrize(
    ("tags", "there", "back"),
    [
        ({"oneway": "-1"}, 3400, 1400),
        ({"oneway": "reverse"}, 3400, 1400),
        ({"oneway": "1"}, 1400, 3400),
        ({"oneway": "no"}, 1400, 1400),
        ({"junction": "roundabout"}, 1400, 3400),
        ({"junction": "roundabout", "oneway": "no"}, 1400, 1400),
        ({"highway": "motorway"}, 1400, 3400),
        ({"oneway": "yes", "oneway__motor_vehicle": "no"}, 1400, 1400),
        ({"motor_vehicle__backward": "no"}, 1400, 3400),
        ({"vehicle__forward": "no"}, 3400, 1400),
    ],
)
def test_directions(tmp_path: Path, tags: dict[str, str], there: int, back: int) -> None:
    """Every way to say in which direction a street is driven."""
    graph = block(**tags).graph(tmp_path)
    assert (metres(graph, START, END), metres(graph, END, START)) == (there, back)


@pytest.mark.parametrize(
    "tags",
    [
        {"access": "no"},
        {"motor_vehicle": "no"},
        {"vehicle": "no"},
        {"access": "yes", "motorcar": "no"},
        {"motor_vehicle": "agricultural"},
        {"highway": "pedestrian"},
        {"highway": "cycleway"},
        {"highway": "construction"},
        {"area": "yes"},
    ],
)
def test_closed_streets(tmp_path: Path, tags: dict[str, str]) -> None:
    """What is closed to cars is gone around: 3,400 m instead of 1,400 m."""
    assert metres(block(**tags).graph(tmp_path), START, END) == 3400


@pytest.mark.parametrize(
    "tags", [{"access": "no", "motor_vehicle": "yes"}, {"access": "permissive"}, {"bicycle": "no"}]
)
def test_open_streets(tmp_path: Path, tags: dict[str, str]) -> None:
    """The most special key decides, and keys of others decide nothing."""
    assert metres(block(**tags).graph(tmp_path), START, END) == 1400


@pytest.mark.parametrize(
    "tags",
    [
        {"access": "private"},
        {"motor_vehicle": "destination"},
        {"access": "customers"},
        {"highway": "service"},
        {"highway": "track"},
    ],
)
def test_last_mile(tmp_path: Path, tags: dict[str, str]) -> None:
    """Nobody drives through a private or service way, but it leads to a door on it, from both sides."""
    graph = block(**tags).graph(tmp_path)
    door = (400.0, 0.0)
    assert metres(graph, START, END) == 3400
    assert metres(graph, START, door) == 600
    assert metres(graph, door, START) == 600
    assert metres(graph, door, END) == 800
    assert metres(graph, END, door) == 800
    assert metres(graph, door, (900.0, 0.0)) == 500


def test_public_street_behind_a_private_one(tmp_path: Path) -> None:
    """A street that is reached over a private way only is part of the last mile: driven to, not cut off."""
    streets = Streets({**BLOCK, "p": (1000.0, -500.0), "q": (1000.0, -900.0)})
    streets.ways = block().ways
    streets.way("bp", access="private")
    streets.way("pq")
    graph = streets.graph(tmp_path)
    assert metres(graph, START, (1000.0, -800.0)) == 2000
    assert metres(graph, (1000.0, -800.0), START) == 2000


# -- turn rules ------------------------------------------------------------------------------------------------------

# A crossing with arms of 500 m; the loop n-x-e lets one who may not turn at the middle m go another way:
#        n ---- x
#        |      |
#  w --- m ---- e
#        |
#        s
CROSS = {
    "m": (0.0, 0.0), "n": (0.0, 500.0), "e": (500.0, 0.0), "s": (0.0, -500.0), "w": (-500.0, 0.0), "x": (500.0, 500.0),
}  # fmt: skip
FROM_SOUTH, TO_EAST, TO_WEST = (0.0, -400.0), (400.0, 0.0), (-400.0, 0.0)


def cross() -> Streets:
    """Arms m-n (1), m-e (2), m-s (3), m-w (4) and the way around n-x-e (5)."""
    streets = Streets(CROSS)
    for arm in ("mn", "me", "ms", "mw", "nxe"):
        streets.way(arm)
    return streets


def test_right_and_left(tmp_path: Path) -> None:
    """400 + 400 m = 48 s and a right turn, or a left one."""
    graph = cross().graph(tmp_path)
    assert seconds(graph, FROM_SOUTH, TO_EAST) == pytest.approx(48 + RIGHT_MS / 1000, abs=0.01)
    assert seconds(graph, FROM_SOUTH, TO_WEST) == pytest.approx(48 + LEFT_MS / 1000, abs=0.01)


def test_forbidden_turn(tmp_path: Path) -> None:
    """No right turn from the south: straight on, and around by n, x and e: 400 + 500 + 1,000 + 100 m."""
    streets = cross()
    streets.rule("no_right_turn", 3, "m", 2)
    graph = streets.graph(tmp_path)
    assert metres(graph, FROM_SOUTH, TO_EAST) == 2000
    assert metres(graph, TO_EAST, FROM_SOUTH) == 800  # the other direction is free


def test_only_turn(tmp_path: Path) -> None:
    """Straight on only: neither right (around: 2,000 m) nor left, which then comes from the east: 2,400 + 500 m."""
    streets = cross()
    streets.rule("only_straight_on", 3, "m", 1)
    graph = streets.graph(tmp_path)
    assert metres(graph, FROM_SOUTH, TO_EAST) == 2000
    assert metres(graph, FROM_SOUTH, TO_WEST) == 400 + 500 + 1000 + 500 + 400
    assert metres(graph, TO_EAST, TO_WEST) == 800


@pytest.mark.parametrize(
    "tags",
    [
        {"except": "motorcar"},
        {"except": "psv;motor_vehicle"},
        {"restriction": "", "restriction__hgv": "no_right_turn"},
        {"restriction": "", "restriction__conditional": "no_right_turn @ (07:00-09:00)"},
        {"hour_on": "07:00", "hour_off": "09:00"},
    ],
)
def test_rules_that_do_not_bind(tmp_path: Path, tags: dict[str, str]) -> None:
    """Rules for others, with cars excepted, or for some hours only are counted and not applied."""
    streets = cross()
    streets.rule("no_right_turn", 3, "m", 2, **tags)
    assert metres(streets.graph(tmp_path), FROM_SOUTH, TO_EAST) == 800


def test_rule_of_the_whole_working_day(tmp_path: Path) -> None:
    """Monday to Friday from 7 to 18: whoever works by day may not turn."""
    streets = cross()
    streets.rule("no_right_turn", 3, "m", 2, day_on="Mo", day_off="Fr", hour_on="7", hour_off="18")
    assert metres(streets.graph(tmp_path), FROM_SOUTH, TO_EAST) == 2000


def test_no_turn_from_one_carriageway_into_the_other_where_they_meet(tmp_path: Path) -> None:
    """The tip of a divided road is no place to turn round: on to the block beyond, 1,000 m around it, and back."""
    points = {"a": (-1000.0, 0.0), "b": (-1000.0, 40.0), "t": (0.0, 20.0), "e": (500.0, 20.0), "f": (500.0, 520.0),
              "g": (0.0, 520.0)}  # fmt: skip
    streets = Streets(points)
    streets.way("at", oneway="yes", name="Avenue")
    streets.way("tb", oneway="yes", name="Avenue")
    streets.way("ba", oneway="yes")
    streets.way("tefgt")
    assert metres(streets.graph(tmp_path), (-500.0, 10.0), (-500.0, 30.0)) == 500 + 2000 + 500


def test_a_short_service_way_across_an_avenue_joins_its_carriageways(tmp_path: Path) -> None:
    """A one-way service way of 30 m between two streets is no last mile; of a tagged kind or closed it is."""
    points = {"w": (-500.0, 0.0), "b": (0.0, 0.0), "c": (500.0, 0.0), "d": (500.0, 30.0), "e": (0.0, 30.0),
              "f": (-500.0, 30.0)}  # fmt: skip
    for tags, way in (({}, 430), ({"service": "driveway"}, 1430), ({"access": "private"}, 1430)):
        streets = Streets(points)
        streets.way("wbc", oneway="yes")
        streets.way("cd", oneway="yes")
        streets.way("def", oneway="yes")
        streets.way("fw", oneway="yes")
        streets.way("be", highway="service", oneway="yes", **tags)
        assert metres(streets.graph(tmp_path), (-200.0, 0.0), (-200.0, 30.0)) == way


def test_nobody_waits_at_lesser_streets(tmp_path: Path) -> None:
    """Straight on along a main road past a side street costs nothing; the side street waits."""
    main = Streets(CROSS)
    main.way("nm", highway="primary")
    main.way("ms", highway="primary")
    main.way("wm")
    main.way("me")
    assert seconds(main.graph(tmp_path), FROM_SOUTH, (0.0, 400.0)) == pytest.approx(48, abs=0.01)


def test_rule_for_cars_only(tmp_path: Path) -> None:
    """`restriction:motorcar` binds a car."""
    streets = cross()
    streets.rule("", 3, "m", 2, restriction__motorcar="no_right_turn")
    assert metres(streets.graph(tmp_path), FROM_SOUTH, TO_EAST) == 2000


# A dual carriageway: southern road a-b-c eastwards, northern road f-e-d westwards, joined at b-e by a short way v.
#  f <-- e <-- d
#        | v
#  a --> b --> c --> then c-d joins them at the east end
DUAL = {
    "a": (-1000.0, 0.0), "b": (0.0, 0.0), "c": (1000.0, 0.0),
    "d": (1000.0, 100.0), "e": (0.0, 100.0), "f": (-1000.0, 100.0), "s": (0.0, -500.0),
}  # fmt: skip
WEST_BELOW, WEST_ABOVE = (-500.0, 0.0), (-500.0, 100.0)


def dual() -> Streets:
    streets = Streets(DUAL)
    streets.way("ab", oneway="yes")  # 1
    streets.way("bc", oneway="yes")  # 2
    streets.way("be")  # 3, the via way
    streets.way("de", oneway="yes")  # 4
    streets.way("ef", oneway="yes")  # 5
    streets.way("cd")  # 6
    streets.way("fa")  # 7
    streets.way("sb")  # 8
    return streets


def test_via_way(tmp_path: Path) -> None:
    """No turning around over b-e: instead of 500 + 100 + 500 m into the side street, around at its dead end and back,
    500 + 2 x 500 + 100 + 500 m, which is shorter than by the east end."""
    assert metres(dual().graph(tmp_path), WEST_BELOW, WEST_ABOVE) == 1100
    streets = dual()
    streets.rule("no_u_turn", 1, [3], 5)
    graph = streets.graph(tmp_path)
    assert metres(graph, WEST_BELOW, WEST_ABOVE) == 2100
    assert metres(graph, (0.0, -400.0), WEST_ABOVE) == 1000  # from the side street b-e-f stays free


def test_only_via_way(tmp_path: Path) -> None:
    """From the side street over b-e one may go on to f only; e is left by f alone anyway, so nothing changes; where
    the rule names a-b as the only way on, it forbids e-f."""
    streets = dual()
    streets.way("eb", highway="service")  # 9: a second way on at e
    streets.rule("only_straight_on", 8, [3], 9)
    graph = streets.graph(tmp_path)
    assert metres(graph, (0.0, -400.0), WEST_ABOVE) == 400 + 1000 + 100 + 1000 + 500


def test_overlapping_via_rules(tmp_path: Path) -> None:
    """Two rules that begin alike are both kept: a-b-e-f and s-b-e-f are forbidden, each for its own arm."""
    streets = dual()
    streets.rule("no_u_turn", 1, [3], 5)
    streets.rule("no_left_turn", 8, [3], 5)
    graph = streets.graph(tmp_path)
    assert metres(graph, WEST_BELOW, WEST_ABOVE) == 3100
    assert metres(graph, (0.0, -400.0), WEST_ABOVE) == 400 + 1000 + 100 + 1000 + 500


def test_turning_around_at_dead_ends_only(tmp_path: Path) -> None:
    """Who must come back from a one-way loop drives to the end of the street, 100 m on, and turns there."""
    streets = Streets({"a": (0.0, 0.0), "b": (500.0, 0.0), "c": (600.0, 0.0), "d": (500.0, 400.0), "z": (0.0, 400.0)})
    streets.way("ab")
    streets.way("bc")
    streets.way("bd", oneway="yes")
    streets.way("dz", oneway="yes")
    streets.way("za", oneway="yes")
    streets.rule("no_left_turn", 1, "b", 3)  # from a straight on only, turn at c, then right at b
    graph = streets.graph(tmp_path)
    assert metres(graph, (300.0, 0.0), (500.0, 200.0)) == 200 + 100 + 100 + 200
    expected = 36 + AROUND_MS / 1000 + STRAIGHT_MS / 1000 + RIGHT_MS / 1000
    assert seconds(graph, (300.0, 0.0), (500.0, 200.0)) == pytest.approx(expected, abs=0.01)


# -- things on the road ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tags", "through"),
    [
        ({"barrier": "bollard"}, False),
        ({"barrier": "block"}, False),
        ({"barrier": "gate", "access": "no"}, False),
        ({"barrier": "gate", "access": "private"}, False),
        ({"barrier": "bollard", "motor_vehicle": "yes"}, True),
        ({"barrier": "cattle_grid"}, True),
        ({"barrier": "toll_booth"}, True),
        ({"barrier": "gate"}, True),
    ],
)
def test_barriers(tmp_path: Path, tags: dict[str, str], through: bool) -> None:
    """A barrier half way along a-b closes it to through traffic, or does not."""
    streets = Streets({**BLOCK, "g": (500.0, 0.0)}, {"g": tags})
    for points in ("wa", "agb", "be", "acdb"):
        streets.way(points)
    assert metres(streets.graph(tmp_path), START, END) == (1400 if through else 3400)


def test_gate_takes_time(tmp_path: Path) -> None:
    """An open gate is opened and passed: 84 s, two crossings and the gate."""
    streets = Streets({**BLOCK, "g": (500.0, 0.0)}, {"g": {"barrier": "gate"}})
    for points in ("wa", "agb", "be", "acdb"):
        streets.way(points)
    expected = 84 + 2 * STRAIGHT_MS / 1000 + GATE_MS / 1000
    assert seconds(streets.graph(tmp_path), START, END) == pytest.approx(expected, abs=0.01)


def test_behind_a_private_gate(tmp_path: Path) -> None:
    """A house behind a private gate is reached, but nobody drives through the gate."""
    streets = Streets({**BLOCK, "g": (500.0, 0.0)}, {"g": {"barrier": "gate", "access": "private"}})
    for points in ("wa", "agb", "be", "acdb"):
        streets.way(points)
    graph = streets.graph(tmp_path)
    assert metres(graph, START, (450.0, 0.0)) == 650


def test_signals_and_giving_way(tmp_path: Path) -> None:
    """Signals at b cost their wait; a street that meets a main road gives way, unless there are signals."""
    streets = block()
    streets.tags = {"b": {"highway": "traffic_signals"}}
    assert seconds(streets.graph(tmp_path), START, END) == pytest.approx(
        84 + 2 * STRAIGHT_MS / 1000 + SIGNALS_MS / 1000, abs=0.01
    )
    main = Streets(CROSS)
    main.way("nm", highway="primary")
    main.way("ms", highway="primary")
    main.way("wm")
    main.way("me")
    assert seconds(main.graph(tmp_path), TO_WEST, TO_EAST) == pytest.approx(
        48 + STRAIGHT_MS / 1000 + YIELD_MS / 1000, abs=0.01
    )


def test_ferry(tmp_path: Path) -> None:
    """A ferry with a duration of 20 minutes between two shores; one that carries no cars is no way at all."""
    points = {"a": (0.0, 0.0), "b": (1000.0, 0.0), "c": (6000.0, 0.0), "d": (7000.0, 0.0)}
    streets = Streets(points)
    streets.way("ab")
    streets.way("cd")
    streets.way("bc", highway="", route="ferry", motor_vehicle="yes", duration="00:20", maxspeed="")
    graph = streets.graph(tmp_path)
    assert seconds(graph, (0.0, 0.0), (7000.0, 0.0)) == pytest.approx(60 + 1200 + 60, abs=0.01)
    rush = HourClass("rush", 0, (50, 50, 50, 50))
    assert seconds(graph, (0.0, 0.0), (7000.0, 0.0), rush) == pytest.approx(120 + 1200 + 120, abs=0.01)
    streets.ways[-1][1].pop("motor_vehicle")
    assert leg(streets.graph(tmp_path), (0.0, 0.0), (7000.0, 0.0)) is None


def test_ferry_over_several_pieces(tmp_path: Path) -> None:
    """A duration is that of the whole way, shared by length where it is cut: three quarters of 20 minutes are 15."""
    streets = Streets(
        {"a": (0.0, 0.0), "b": (1000.0, 0.0), "i": (4000.0, 0.0), "j": (4000.0, 900.0), "c": (5000.0, 0.0)}
    )
    streets.way("ab")
    streets.way("ij")
    streets.way("bic", highway="", route="ferry", motor_vehicle="yes", duration="PT20M", maxspeed="")
    graph = streets.graph(tmp_path)
    assert seconds(graph, (0.0, 0.0), (4000.0, 900.0)) == pytest.approx(60 + 900 + 54 + LEFT_MS / 1000, abs=0.01)


def test_small_island_is_dropped(tmp_path: Path) -> None:
    """A scrap of road that hangs together with nothing is left out: the place snaps to the street beyond it."""
    points = {f"p{k}": (100.0 * k, 0.0) for k in range(40)} | {"y": (0.0, 150.0), "z": (80.0, 150.0)}
    streets = Streets(points)
    for k in range(39):
        streets.ways.append(([f"p{k}", f"p{k + 1}"], {"highway": "residential"}))
    streets.way("yz")
    snap = streets.graph(tmp_path).snap(at((40.0, 140.0)))
    assert snap is not None
    assert snap.metres == 140


def test_two_large_pieces_are_both_kept(tmp_path: Path) -> None:
    """Two towns without a road between them: no way, and it is said so; nothing is zero."""
    streets = Streets({"a": (0.0, 0.0), "b": (1000.0, 0.0), "c": (0.0, 5000.0), "d": (1000.0, 5000.0)})
    streets.way("ab")
    streets.way("cd")
    assert leg(streets.graph(tmp_path), (500.0, 0.0), (500.0, 5000.0)) is None


def test_two_places_on_one_street(tmp_path: Path) -> None:
    """Ahead on a one-way street 300 m; back around the block: 700 + ... = 3,000 + 1,000 - 300 m."""
    graph = block(oneway="yes").graph(tmp_path)
    near, far = (300.0, 0.0), (600.0, 0.0)
    assert metres(graph, near, far) == 300
    assert metres(graph, far, near) == 400 + 3000 + 300


def test_speed_by_hour(tmp_path: Path) -> None:
    """At half speed driving takes twice as long, turns as long as ever."""
    graph = block().graph(tmp_path)
    rush = HourClass("rush", 0, (100, 100, 50, 100))
    assert seconds(graph, START, END, rush) == pytest.approx(168 + 2 * STRAIGHT_MS / 1000, abs=0.01)


def test_the_hour_changes_the_way(tmp_path: Path) -> None:
    """The direct main road crawls at a tenth of its speed: now around by the streets, 3,400 m."""
    graph = block(highway="primary").graph(tmp_path)
    assert metres(graph, START, END) == 1400
    crawl = leg(graph, START, END, HourClass("crawl", 0, (100, 10, 100, 100)))
    assert crawl is not None
    assert round(crawl.decimetres / 10) == 3400


def test_missing_points(tmp_path: Path) -> None:
    """A way that leaves the extract is kept up to its last known point."""
    streets = block()
    path = streets.write(tmp_path / "whole.osm")
    text = path.read_text().replace('id="6"', 'id="66"', 1)  # d is gone
    cut = tmp_path / "cut.osm"
    cut.write_text(text)
    graph, counts = road_graph_of(extract_read(cut))
    assert counts["points outside the file"] == 1
    assert metres(graph, START, (0.0, 900.0)) == 1100
