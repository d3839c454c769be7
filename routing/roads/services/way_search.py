"""The search for one way over the road graph. Brings the compiler along."""

import shapely

from routing.roads.domain import Point
from routing.roads.domain.graph import RoadGraph
from routing.roads.domain.speeds import HourClass
from routing.roads.domain.steps import steps_of
from routing.roads.domain.way import Way
from routing.roads.services.store import overlay_fetch

WITHIN_DEGREES = 2.0 / 111_195.0  # lines are simplified within 2 m, less than a road is wide
DIGITS = 6


def way_search(graph: RoadGraph, leg: tuple[Point, Point], hour: HourClass) -> Way:
    """The quickest way at these hours, from door to door; a straight line where there is none."""
    start, end = graph.snap(leg[0]), graph.snap(leg[1])
    if start is None or end is None:
        return Way(leg)
    found = graph.router(hour, overlay=lambda wanted: overlay_fetch(graph, wanted)).way(start, end)
    if found is None:
        return Way(leg)
    exact = shapely.LineString([leg[0], *graph.shape(found, start, end), leg[1]])
    light = shapely.simplify(exact, WITHIN_DEGREES)
    line = tuple((round(lat, DIGITS), round(lon, DIGITS)) for lat, lon in light.coords)
    return Way(line, steps_of(graph, found, start, end), is_road=True)
