"""The share of driving that a job at some place would have, from the days planned lately."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Avg, Sum

from jobs.customers.models import Property
from pricing.earnings.models import EarningEntry
from pricing.estimates.choices import DriveBasis
from pricing.estimates.domain.driving import (
    DrivenRoute,
    best_insertion,
    share_in,
    there_and_back_share,
    usual_share,
)
from pricing.estimates.inputs import DriveFacts
from routing.plans.models import Route, Stop, Yard
from routing.plans.selectors.learning import learnt_table
from routing.plans.selectors.traffic import usual_drive_hours
from routing.roads.domain import DriveTable, Point
from routing.roads.services import FOR_A_PAGE
from shared.units import round_half_up

MOST_DAYS = 10  # so many days are looked at, the newest first; our choice


def drive_share_at(*, place: Property, today: date) -> DriveFacts:
    """Minutes and metres of driving that a job at `place` would bear, and where the figure comes from.

    The median over the newest planned days of its share where it adds least to one of the day's routes; without such
    days, or where no road leads there, there and back from the yard, shared by the stops of a usual route; without a
    yard or a place, the average of the jobs booked so far; and nothing where nothing is known.
    """
    if not place.has_place:
        return _booked()
    here = (place.latitude or 0.0, place.longitude or 0.0)
    return _from_days(here, place.pk, today) or _from_yard(here, today) or _booked()


@dataclass(frozen=True)
class _Day:
    """The routes of one yard's day by the places on them."""

    yard: Yard
    routes: tuple[tuple[Point, ...], ...]


def _from_days(here: Point, property_id: int, today: date) -> DriveFacts | None:
    by_yard: dict[Yard, list[_Day]] = {}
    for day in _days(property_id, today):
        by_yard.setdefault(day.yard, []).append(day)
    shares: list[tuple[int, int]] = []
    source = ""
    for yard, days in by_yard.items():
        stops = dict.fromkeys(stop for day in days for route in day.routes for stop in route)
        points = list(dict.fromkeys([_home(yard), here, *stops]))
        table = learnt_table(yard, points, usual_drive_hours(yard, today), server=FOR_A_PAGE)
        found = [share for day in days if (share := _share(day, points, table, here))]
        shares, source = [*shares, *found], source or table.source
    if not shares:
        return None
    return DriveFacts(
        minutes=usual_share([minutes for minutes, _metres in shares]),
        metres=usual_share([metres for _minutes, metres in shares]),
        basis=DriveBasis.DAYS,
        days=len(shares),
        source=source,
    )


def _home(yard: Yard) -> Point:
    return yard.latitude, yard.longitude


def _days(property_id: int, today: date) -> list[_Day]:
    """The newest days with routes, up to today and coming ones; the stops of this very property are left out."""
    stops = Stop.objects.exclude(job__property=property_id).filter(job__property__latitude__isnull=False)
    newest = (
        Route.objects.filter(stops__in=stops).order_by("-plan__work_date").values_list("plan", flat=True).distinct()
    )
    plans = list(dict.fromkeys(newest))[:MOST_DAYS]
    rows = stops.filter(route__plan__in=plans).select_related("route__plan__yard", "job__property")
    found: dict[int, tuple[Yard, dict[int, list[Point]]]] = {}
    for stop in rows.order_by("route", "position"):
        spot = stop.job.property
        _yard, routes = found.setdefault(stop.route.plan_id, (stop.route.plan.yard, {}))
        routes.setdefault(stop.route_id, []).append((spot.latitude or 0.0, spot.longitude or 0.0))
    return [_Day(yard, tuple(map(tuple, routes.values()))) for yard, routes in found.values()]


def _share(day: _Day, points: Sequence[Point], table: DriveTable, here: Point) -> tuple[int, int] | None:
    """Minutes and metres where the place adds least to the day."""
    at = {point: k for k, point in enumerate(points)}
    routes = [DrivenRoute(0, tuple(at[stop] for stop in stops), 0) for stops in day.routes]
    best = best_insertion(table.minutes, routes, at[here])
    if best is None:
        return None
    return share_in(table.minutes, best, at[here]), share_in(table.metres, best, at[here])


def _from_yard(here: Point, today: date) -> DriveFacts | None:
    yard = Yard.objects.order_by("pk").first()
    if yard is None:
        return None
    table = learnt_table(yard, [_home(yard), here], usual_drive_hours(yard, today), server=FOR_A_PAGE)
    there, back = table.minutes[0][1], table.minutes[1][0]
    if there is None or back is None:
        return None
    metres = there_and_back_share(table.metres[0][1] or 0, table.metres[1][0] or 0)
    return DriveFacts(there_and_back_share(there, back), metres, DriveBasis.THERE_AND_BACK, source=table.source)


def _booked() -> DriveFacts:
    jobs = EarningEntry.objects.filter(kind="work").values("job_ref").annotate(minutes=Sum("drive_minutes"))
    average = jobs.aggregate(average=Avg("minutes"))["average"]
    if average is None:
        return DriveFacts(0, 0, DriveBasis.UNKNOWN)
    return DriveFacts(round_half_up(float(average)), 0, DriveBasis.BOOKED)
