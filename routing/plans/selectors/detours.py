"""How much driving work at a property would add to the routes of the coming weeks."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from jobs.customers.models import Property
from jobs.work.models import Job, JobWindow
from pricing.estimates.domain.driving import DrivenRoute, best_insertion
from routing.plans.models import Stop, Yard
from routing.plans.selectors.learning import learnt_table
from routing.plans.selectors.near import CLOSED, FIRST_DAYS_AHEAD
from routing.plans.selectors.traffic import usual_drive_hours
from routing.roads.domain import Point
from routing.roads.domain.network import air_metres
from routing.roads.services import FOR_A_PAGE

CLOSE_METRES = 3_000  # to a stop, through the air; farther off no route passes by; our choice, no source
AT_ONCE = 50  # properties in one drive table

_Route = tuple[Point, ...]


@dataclass(frozen=True)
class _Wanted:
    """A property near some of a yard's routes, by their numbers, the nearest first."""

    property_id: int
    at: Point
    routes: tuple[int, ...]


def added_minutes(*, places: Sequence[Property], today: date, weeks: int) -> dict[int, int]:
    """By property: the drive minutes that a visit would add where it adds least to a route of the coming weeks.

    Routes are those of the plans; a promised job that is on none yet counts as a drive there and back. Left out is what
    lies farther than CLOSE_METRES from all their stops, and what no road leads to. Keeps nothing of what it computes.
    """
    last = today + timedelta(days=7 * weeks)
    found: dict[int, int] = {}
    for yard, routes in _routes_by_yard(today + timedelta(days=FIRST_DAYS_AHEAD), last).items():
        for property_id, minutes in _added_to(yard, routes, _close(places, routes), today):
            found[property_id] = min(minutes, found.get(property_id, minutes))
    return found


def _routes_by_yard(first: date, last: date) -> dict[Yard, list[_Route]]:
    open_stops = Stop.objects.filter(route__plan__work_date__range=(first, last)).exclude(job__state__in=CLOSED)
    stops = open_stops.filter(job__property__latitude__isnull=False)
    planned: dict[tuple[Yard, int], list[Point]] = defaultdict(list)
    jobs: set[int] = set()
    for stop in stops.select_related("route__plan__yard", "job__property").order_by("route", "position"):
        planned[stop.route.plan.yard, stop.route_id].append(_at(stop.job.property))
        jobs.add(stop.job_id)
    found: dict[Yard, list[_Route]] = defaultdict(list)
    for (yard, _route), points in planned.items():
        found[yard].append(tuple(points))
    yards = list(Yard.objects.order_by("pk"))
    for job in _promised(first, last, on_routes=jobs):
        if yards:
            found[_nearest_yard(yards, _at(job.property))].append((_at(job.property),))
    return found


def _promised(first: date, last: date, *, on_routes: set[int]) -> Iterable[Job]:
    windows = JobWindow.objects.filter(promised=True, first_date__range=(first, last)).exclude(job__in=on_routes)
    jobs = Job.objects.filter(pk__in=windows.values("job"), property__latitude__isnull=False)
    return jobs.exclude(state__in=CLOSED).select_related("property").order_by("pk")


def _at(place: Property) -> Point:
    return place.latitude or 0.0, place.longitude or 0.0


def _nearest_yard(yards: Sequence[Yard], place: Point) -> Yard:
    metres = _metres([place], [(yard.latitude, yard.longitude) for yard in yards])
    return yards[int(metres[0].argmin())]


def _close(places: Sequence[Property], routes: Sequence[_Route]) -> list[_Wanted]:
    """Those near a route, in an order in which neighbours follow each other."""
    placed = [place for place in places if place.has_place]
    if not placed:
        return []
    stops = [stop for route in routes for stop in route]
    route_of = np.repeat(np.arange(len(routes)), [len(route) for route in routes])
    metres = _metres([_at(place) for place in placed], stops)
    found = []
    for place, row in zip(placed, metres, strict=True):
        order = row.argsort(kind="stable")
        near = dict.fromkeys(int(route_of[k]) for k in order if row[k] <= CLOSE_METRES)
        if near:
            found.append(_Wanted(place.pk, _at(place), tuple(near)))
    return sorted(found, key=lambda wanted: (wanted.routes[0], wanted.property_id))


def _metres(places: Sequence[Point], stops: Sequence[Point]) -> np.ndarray:
    """Through the air, a row for each of `places` and a column for each of `stops`."""
    here, there = np.array(places, dtype=float), np.array(stops, dtype=float)
    return air_metres(here[:, None, 0], here[:, None, 1], there[None, :, 0], there[None, :, 1])


def _added_to(yard: Yard, routes: Sequence[_Route], wanted: list[_Wanted], today: date) -> Iterator[tuple[int, int]]:
    hours = usual_drive_hours(yard, today) if wanted else None
    home = (yard.latitude, yard.longitude)
    for start in range(0, len(wanted), AT_ONCE):
        some = wanted[start : start + AT_ONCE]
        near = {number for each in some for number in each.routes}
        stops = [stop for number in sorted(near) for stop in routes[number]]
        points = list(dict.fromkeys([home, *stops, *(each.at for each in some)]))
        table = learnt_table(yard, points, hours, server=FOR_A_PAGE)
        number_of = {point: k for k, point in enumerate(points)}
        driven = {at: DrivenRoute(0, tuple(number_of[stop] for stop in routes[at]), 0) for at in near}
        for each in some:
            best = best_insertion(table.minutes, [driven[at] for at in each.routes], number_of[each.at])
            if best is not None:
                yield each.property_id, best.added_minutes
