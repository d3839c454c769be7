"""The ways of a plan's routes along the streets, for the map and the route sheet."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from jobs.customers.models import Property
from routing.plans.models import DayPlan
from routing.roads.domain import Point
from routing.roads.domain.way import Way
from routing.roads.selectors import DriveHours
from routing.roads.services.ways import ways_between
from shared.web.maps import LINE_STYLES, position


def route_ways(plan: DayPlan, places: Sequence[Property]) -> list[Way]:
    """The way from the yard to each property in order and back; empty where one of them has no place any more."""
    return ways_between(way_points(plan, places), hours=drive_hours_of(plan))


def way_points(plan: DayPlan, places: Sequence[Property]) -> list[Point]:
    """From the yard over each property in order and back; empty where one of them has no place any more."""
    yard = (plan.yard.latitude, plan.yard.longitude)
    stops = [(p.latitude, p.longitude) for p in places if p.latitude is not None and p.longitude is not None]
    if not stops or len(stops) < len(places):
        return []
    return [yard, *stops, yard]


def drive_hours_of(plan: DayPlan) -> DriveHours | None:
    """The hours that the plan's drive table was asked for, from its problem."""
    shifts = [crew["shift"] for crew in plan.problem["crews"]]
    if not shifts:
        return None
    leaving, returning = min(start for start, _end in shifts), max(end for _start, end in shifts)
    return DriveHours(plan.work_date, leaving, (leaving + returning) // 2, returning)


def routes_geojson(plan: DayPlan) -> dict[str, Any]:
    """The routes of a plan as GeoJSON (RFC 7946): a MultiLineString for each, a line for each drive in order.

    `plan` comes from `plan_in_rows`. A drive that no road is known for is a straight line; `estimated` counts them.
    `drives` holds the turns of each drive, see `routing.roads.domain.way.Step`.
    """
    features = []
    for number, route in enumerate(plan.routes.all()):
        ways = route_ways(plan, [stop.job.property for stop in route.stops.all()])
        if not ways:
            continue
        properties = {
            "crew": route.crew.code,
            "title": route.crew.name,
            "style": number % LINE_STYLES + 1,
            "drive_minutes": route.drive_minutes,
            "drive_metres": route.drive_metres,
            "estimated": sum(not way.is_road for way in ways),
            "drives": [[asdict(step) for step in way.steps] for way in ways],
        }
        lines = [[position(place) for place in way.line] for way in ways]
        features.append(
            {
                "type": "Feature",
                "geometry": {"type": "MultiLineString", "coordinates": lines},
                "properties": properties,
            }
        )
    return {"type": "FeatureCollection", "features": features}
