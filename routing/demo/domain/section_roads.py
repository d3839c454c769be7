"""The roads between the cells: section roads, river roads, two bridges, the motorway with two interchanges."""

from collections.abc import Iterator

from routing.demo.domain.districts import COLUMN_EDGES, Line
from routing.demo.domain.plane import Point

NORTH_END, SOUTH_END = 4800, -4800
BANK = 80  # the river roads run this far from the river's middle line
BRIDGES_AT = (-1600, 1600)
CROSS_MOTORWAY_AT = (-3200, 0, 3200)
INTERCHANGES_AT = (-3200, 3200)
BEYOND_MOTORWAY = 6000
EASTBOUND_Y, WESTBOUND_Y = (
    5190,
    5230,
)  # off the 20 m lattice on purpose: crossing roads share no point with it
ROUNDABOUT_AT: Point = (-3200, 1600)
EAST_WEST_ROADS = (
    (-3200, "secondary", 40),
    (-1600, "primary", 40),
    (1600, "primary", 40),
    (3200, "secondary", 40),
)


def section_lines() -> Iterator[Line]:
    """Every road between the cells except the motorway."""
    west, east = COLUMN_EDGES[0], COLUMN_EDGES[-1]
    for y, road_class, speed in EAST_WEST_ROADS:
        yield _road(((west, y), (east, y)), road_class, speed, "Road")
    for y in (NORTH_END, SOUTH_END):
        yield _road(((west, y), (east, y)), "unclassified", 50, "Road")
    for x in COLUMN_EDGES:
        yield from _north_south(x)
    for y in (BANK, -BANK):
        yield _road(((west, y), (east, y)), "tertiary", 30, "Drive")


def _north_south(x: int) -> Iterator[Line]:
    top = BEYOND_MOTORWAY if x in CROSS_MOTORWAY_AT else NORTH_END
    outer = abs(x) > 4800
    road_class, speed = ("unclassified", 50) if outer else ("secondary", 40)
    if x in BRIDGES_AT:
        yield _road(((x, SOUTH_END), (x, top)), "primary", 40, "Boulevard")
        return
    yield _road(((x, BANK), (x, top)), road_class, speed, "Road")
    yield _road(((x, SOUTH_END), (x, -BANK)), road_class, speed, "Road")


def _road(corners: tuple[Point, ...], road_class: str, speed: int, suffix: str) -> Line:
    return Line(corners, suffix, road_class=road_class, speed_mph=speed, houses=False)


def motorway_lines() -> Iterator[Line]:
    """Two carriageways and four ramps at each interchange, each one way, driven on the right."""
    west, east = COLUMN_EDGES[0] - 2000, COLUMN_EDGES[-1] + 2000
    yield _one_way(((west, EASTBOUND_Y), (east, EASTBOUND_Y)), "motorway", 70)
    yield _one_way(((east, WESTBOUND_Y), (west, WESTBOUND_Y)), "motorway", 70)
    for x in INTERCHANGES_AT:
        south, north = EASTBOUND_Y - 90, WESTBOUND_Y + 90
        yield _one_way(((x - 400, EASTBOUND_Y), (x, south)), "motorway_link", 45)
        yield _one_way(((x, south), (x + 400, EASTBOUND_Y)), "motorway_link", 45)
        yield _one_way(((x + 400, WESTBOUND_Y), (x, north)), "motorway_link", 45)
        yield _one_way(((x, north), (x - 400, WESTBOUND_Y)), "motorway_link", 45)


def _one_way(corners: tuple[Point, ...], road_class: str, speed: int) -> Line:
    return Line(corners, "", one_way=True, road_class=road_class, speed_mph=speed, houses=False)


def bridge_spans(line: Line) -> list[tuple[Point, Point]]:
    """Where this road is a bridge: (from, to) points on it, over the river and over the motorway."""
    (x0, y0), (x1, y1) = line.corners[0], line.corners[-1]
    if x0 != x1 or line.suffix not in ("Road", "Boulevard"):
        return []
    spans: list[tuple[Point, Point]] = []
    if y0 < 0 < y1:
        spans.append(((x0, -60), (x0, 60)))
    if y0 < EASTBOUND_Y < WESTBOUND_Y < y1:
        spans.append(((x0, EASTBOUND_Y - 30), (x0, WESTBOUND_Y + 30)))
    return spans
