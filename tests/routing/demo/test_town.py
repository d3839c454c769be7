"""The invented town: a street network that can be driven and written as a map."""

import itertools
import random
from collections import defaultdict

import pytest

from routing.demo.domain.addresses import plots_by_street
from routing.demo.domain.plane import STEP_METRES, densify
from routing.demo.domain.section_roads import BRIDGES_AT
from routing.demo.domain.town import Town, Way, town_make
from shared.geo import great_circle_metres

SEED = 1


@pytest.fixture(scope="module")
def town() -> Town:
    return town_make(random.Random(SEED))


def test_same_seed_same_town(town: Town) -> None:
    """The seed decides every node, way and turn rule; another seed bends the streets otherwise."""
    again, other = town_make(random.Random(SEED)), town_make(random.Random(SEED + 1))
    assert (again.nodes, again.ways, again.restrictions) == (town.nodes, town.ways, town.restrictions)
    assert other.nodes != town.nodes


def test_size(town: Town) -> None:
    """At least 15,000 nodes and 200 named streets, each name once."""
    names = [street.name for street in town.streets if street.district not in ("motorway",)]
    assert len(town.nodes) >= 15_000
    assert len(names) == len(set(names)) >= 200


def test_ways_join_known_nodes_closely(town: Town) -> None:
    """Every way runs over existing nodes, none of them twice in a row, with at most 60 m between two."""
    for way in town.ways:
        assert len(way.nodes) >= 2
        for a, b in itertools.pairwise(way.nodes):
            first, second = town.nodes[a], town.nodes[b]
            assert 0.0 < great_circle_metres(first.lat, first.lon, second.lat, second.lon) <= 60.0


def test_every_house_can_be_reached_and_left(town: Town) -> None:
    """With one-way streets and the roundabout kept, every node but the motorway's ends joins one driven whole."""
    ahead, back = _links(town.ways)
    start = town.ways[0].nodes[0]
    both = _reached(ahead, start) & _reached(back, start)
    motorway = {node for way in town.ways if way.road_class.startswith("motorway") for node in way.nodes}
    assert set(town.nodes) - both <= motorway


def test_only_two_bridges_cross_the_river(town: Town) -> None:
    """No road but the two bridges joins the banks: taken away, north and south fall apart."""
    over_river = [way for way in town.ways if way.bridge and way.road_class == "primary"]
    assert len(over_river) == len(BRIDGES_AT)
    rest = [way for way in town.ways if way not in over_river]
    ahead, _back = _links(way for way in rest)
    north, south = over_river[0].nodes[-1], over_river[0].nodes[0]
    assert south not in _reached(ahead, north)


def test_motorway_is_crossed_on_bridges(town: Town) -> None:
    """The carriageways share nodes with their ramps only, never with the roads that cross them."""
    carriageway = {node for way in town.ways if way.road_class == "motorway" for node in way.nodes}
    touching = {way.road_class for way in town.ways if carriageway & set(way.nodes)}
    assert touching == {"motorway", "motorway_link"}
    assert all(way.one_way for way in town.ways if way.road_class.startswith("motorway"))


def test_estate_has_one_way_in(town: Town) -> None:
    """All private ways hang on one public node, and the gate stands just behind it."""
    private = {node for way in town.ways if way.private for node in way.nodes}
    public = {node for way in town.ways if not way.private for node in way.nodes}
    gates = [node for node in town.nodes.values() if node.barrier == "gate"]
    assert len(private & public) == 1
    assert len(gates) == 1
    assert gates[0].id in private - public


def test_turn_rules_join_at_their_node(town: Town) -> None:
    """Each rule's two ways end at the node between them, and at least one is forbidden at each bridge head."""
    ways = {way.id: way for way in town.ways}
    assert len(town.restrictions) >= 8
    for rule in town.restrictions:
        for way_id in (rule.from_way, rule.to_way):
            assert rule.via_node in (ways[way_id].nodes[0], ways[way_id].nodes[-1])


def test_roundabout_runs_counter_clockwise(town: Town) -> None:
    """Driven on the right: the ring's area, walked in driving order, is positive."""
    (ring,) = [way for way in town.ways if way.roundabout]
    corners = [town.places[node] for node in ring.nodes]
    assert sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in itertools.pairwise(corners)) > 0


def test_plots_stand_beside_their_street(town: Town) -> None:
    """Every address exists once and lies 10 to 45 m from its street."""
    nodes_of = {street.name: street.nodes for street in town.streets}
    plots = plots_by_street(town)
    assert len({(p.number, p.street) for of_street in plots.values() for p in of_street}) == sum(
        map(len, plots.values())
    )
    for of_street in plots.values():
        for plot in of_street[:2]:
            near = min(
                great_circle_metres(plot.lat, plot.lon, town.nodes[node].lat, town.nodes[node].lon)
                for node in nodes_of[plot.street]
            )
            assert 10.0 < near < 45.0


def test_densify_meets_the_lattice() -> None:
    """Lines along the lattice get a point on each lattice step, corners included."""
    points = densify(((0, 0), (60, 0), (60, 40)))
    assert points == [(0, 0), (20, 0), (40, 0), (60, 0), (60, 20), (60, 40)]
    assert STEP_METRES == 20


def _links(ways: object) -> tuple[dict[int, set[int]], dict[int, set[int]]]:
    ahead: dict[int, set[int]] = defaultdict(set)
    back: dict[int, set[int]] = defaultdict(set)
    for way in ways:  # type: ignore[attr-defined]
        assert isinstance(way, Way)
        for a, b in itertools.pairwise(way.nodes):
            for start, end in ((a, b),) if way.one_way else ((a, b), (b, a)):
                ahead[start].add(end)
                back[end].add(start)
    return ahead, back


def _reached(links: dict[int, set[int]], start: int) -> set[int]:
    seen, waiting = {start}, [start]
    while waiting:
        for node in links[waiting.pop()] - seen:
            seen.add(node)
            waiting.append(node)
    return seen
