"""The invented town as a street network: nodes with latitude and longitude, ways with their rules, and streets.

Kept in the shape of a road map (nodes, ways, restrictions), so that it can be written as a map extract.
"""

import itertools
import random
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from routing.demo.domain import section_roads
from routing.demo.domain.districts import KINDS, Line, cells, lines_of
from routing.demo.domain.names import street_names
from routing.demo.domain.plane import Bend, Point, bend_make, densify, to_globe

TOWN_NAME = "Tallowick"
RIVER_NAME = "Sorrelmere River"
MOTORWAY_REF = "M 9"
GATE_METRES_INSIDE = 40
RIVER_WIDTH_METRES = 60


@dataclass(frozen=True, slots=True)
class Node:
    """A point of the network; `barrier` is "gate" or empty."""

    id: int
    lat: float
    lon: float
    barrier: str = ""


@dataclass(frozen=True, slots=True)
class Way:
    """A piece of road between or through nodes, in driving order where it is one-way.

    Classes, access and restriction words are those of OpenStreetMap tags.
    """

    id: int
    name: str
    road_class: str
    speed_mph: int
    nodes: tuple[int, ...]
    one_way: bool = False
    private: bool = False
    bridge: bool = False
    roundabout: bool = False


@dataclass(frozen=True, slots=True)
class Restriction:
    """A turn that is forbidden or the only one allowed, from a way via a node to a way."""

    id: int
    kind: str
    from_way: int
    via_node: int
    to_way: int


@dataclass(frozen=True, slots=True)
class Street:
    """A named street from end to end, before it is cut into ways."""

    name: str
    district: str
    cell: int
    line: Line
    nodes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Town:
    """The whole network; `places` holds each node's bent position in metres."""

    name: str
    nodes: dict[int, Node]
    places: dict[int, tuple[float, float]]
    ways: tuple[Way, ...]
    restrictions: tuple[Restriction, ...]
    streets: tuple[Street, ...]
    river: tuple[tuple[float, float], ...]
    yard: tuple[float, float]


class _Board:
    """Collects points and gives each its node id, so that streets which meet share the node."""

    def __init__(self, bend: Bend) -> None:
        self.bend = bend
        self.ids: dict[Point, int] = {}
        self.nodes: dict[int, Node] = {}
        self.places: dict[int, tuple[float, float]] = {}

    def node(self, point: Point) -> int:
        if point not in self.ids:
            node_id = len(self.ids) + 1
            place = self.bend.at(*point)
            self.ids[point] = node_id
            self.places[node_id] = place
            self.nodes[node_id] = Node(node_id, *to_globe(*place))
        return self.ids[point]

    def run(self, corners: Sequence[Point]) -> tuple[int, ...]:
        return tuple(self.node(point) for point in densify(corners))


def town_make(rng: random.Random) -> Town:
    """The town drawn from this generator: the same seed, the same town, node for node."""
    board = _Board(bend_make(rng))
    streets = _streets(board, rng)
    ways = _ways(board, streets)
    middle = board.node(section_roads.ROUNDABOUT_AT)
    ways = _with_roundabout(board, ways, middle)
    streets = [replace(street, nodes=_without(street.nodes, middle)) for street in streets]
    restrictions = _restrictions(board, ways)
    river = tuple(to_globe(*board.bend.at(x, 0)) for x in range(-8400, 8401, 100))
    yard = to_globe(*board.bend.at(2_035, 860))
    _put_gates(board, streets)
    return Town(TOWN_NAME, board.nodes, board.places, tuple(ways), restrictions, tuple(streets), river, yard)


def _streets(board: _Board, rng: random.Random) -> list[Street]:
    names = iter(street_names(rng))
    streets = [_street(board, line, "section roads", -1, names) for line in section_roads.section_lines()]
    for number, cell in enumerate(cells()):
        streets += [_street(board, line, KINDS[cell.kind], number, names) for line in lines_of(cell, rng)]
    for line in section_roads.motorway_lines():
        name = MOTORWAY_REF if line.road_class == "motorway" else ""
        streets.append(Street(name, "motorway", -1, line, board.run(line.corners)))
    return streets


def _street(board: _Board, line: Line, district: str, cell: int, names: Iterator[str]) -> Street:
    return Street(f"{next(names)} {line.suffix}", district, cell, line, board.run(line.corners))


def _ways(board: _Board, streets: Iterable[Street]) -> list[Way]:
    """Streets cut at their bridges and where they cross a primary road (turn rules need ways that end there)."""
    streets = list(streets)
    crossings = _primary_nodes(streets)
    ids = itertools.count(1)
    ways = []
    for street in streets:
        bridge_ends = [tuple(map(board.node, span)) for span in section_roads.bridge_spans(street.line)]
        cuts = {node for ends in bridge_ends for node in ends} | crossings
        for nodes in _pieces(street.nodes, cuts):
            bridge = any({nodes[0], nodes[-1]} == set(ends) for ends in bridge_ends)
            ways.append(_way(next(ids), street, nodes, bridge))
    return ways


def _way(way_id: int, street: Street, nodes: tuple[int, ...], bridge: bool) -> Way:
    line = street.line
    return Way(way_id, street.name, line.road_class, line.speed_mph, nodes, line.one_way, line.private, bridge)


def _primary_nodes(streets: Iterable[Street]) -> set[int]:
    """Nodes where a primary road meets any other road."""
    primary: set[int] = set()
    others: dict[int, int] = {}
    for street in streets:
        if street.line.road_class == "primary":
            primary.update(street.nodes)
        for node in set(street.nodes):
            others[node] = others.get(node, 0) + 1
    return {node for node in primary if others[node] > 1}


def _pieces(nodes: tuple[int, ...], cuts: set[int]) -> list[tuple[int, ...]]:
    pieces, start = [], 0
    for index in range(1, len(nodes)):
        if nodes[index] in cuts or index == len(nodes) - 1:
            pieces.append(nodes[start : index + 1])
            start = index
    return pieces


def _with_roundabout(board: _Board, ways: list[Way], middle: int) -> list[Way]:
    """Replace one crossing by a ring driven counter-clockwise; the middle node falls out of the network."""
    x, y = section_roads.ROUNDABOUT_AT
    around = [(20, 0), (20, 20), (0, 20), (-20, 20), (-20, 0), (-20, -20), (0, -20), (20, -20), (20, 0)]
    ring = tuple(board.node((x + dx, y + dy)) for dx, dy in around)
    kept = [replace(way, nodes=_without(way.nodes, middle)) for way in ways]
    del board.nodes[middle], board.places[middle]
    last = max(way.id for way in ways)
    return [*kept, Way(last + 1, "", "primary", 20, ring, one_way=True, roundabout=True)]


def _without(nodes: tuple[int, ...], middle: int) -> tuple[int, ...]:
    return tuple(node for node in nodes if node != middle)


def _restrictions(board: _Board, ways: Sequence[Way]) -> tuple[Restriction, ...]:
    """No left turn onto a primary road from the two river roads; straight on only at two old-town corners."""
    found: list[Restriction] = []
    for x, y in itertools.product(section_roads.BRIDGES_AT, (section_roads.BANK, -section_roads.BANK)):
        found.extend(_no_left_turns(board, ways, (x, y), len(found)))
    for corner in ((0, 1600), (0, -1600)):
        found.extend(_no_left_turns(board, ways, corner, len(found)))
    return tuple(found)


def _no_left_turns(board: _Board, ways: Sequence[Way], corner: Point, count: int) -> list[Restriction]:
    via = board.node(corner)
    arms = [way for way in ways if via in (way.nodes[0], way.nodes[-1])]
    minor = [way for way in arms if way.road_class != "primary"]
    primary = [way for way in arms if way.road_class == "primary"]
    pairs = [(a, b) for a in minor for b in primary if _turns_left(board, a, via, b)]
    return [
        Restriction(count + number, "no_left_turn", a.id, via, b.id) for number, (a, b) in enumerate(pairs, start=1)
    ]


def _turns_left(board: _Board, arriving: Way, via: int, leaving: Way) -> bool:
    ax, ay = board.places[_next_to(arriving, via)]
    vx, vy = board.places[via]
    bx, by = board.places[_next_to(leaving, via)]
    return (vx - ax) * (by - vy) - (vy - ay) * (bx - vx) > 0


def _next_to(way: Way, via: int) -> int:
    return way.nodes[1] if way.nodes[0] == via else way.nodes[-2]


def _put_gates(board: _Board, streets: Iterable[Street]) -> None:
    """A gate on each private way that leads in from a public road."""
    for street in streets:
        if street.line.private and street.line.suffix == "Way":
            x, y = street.line.corners[0]
            node = board.node((x + GATE_METRES_INSIDE, y))
            board.nodes[node] = replace(board.nodes[node], barrier="gate")
