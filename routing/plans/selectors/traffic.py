"""At which hours a yard's crews drive, and the traffic that a plan reckons with then."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from routing.plans.domain.facts import CrewFacts
from routing.plans.models import ShiftPattern, Yard
from routing.plans.selectors.days import yard_list
from routing.plans.selectors.shifts import crews_on_shift
from routing.roads.domain.speeds import HourClass
from routing.roads.selectors import DriveHours, drive_speeds
from shared import clock

DAYS_AHEAD = 7
KINDS = ("leaving", "between", "returning")


@dataclass(frozen=True, slots=True)
class TrafficOfDrives:
    """Some drives of a day (`kind` is one of KINDS), the minute that they are reckoned at, and the traffic then."""

    kind: str
    minute: int
    hours: HourClass


@dataclass(frozen=True, slots=True)
class YardTraffic:
    yard: Yard
    work_date: date
    drives: tuple[TrafficOfDrives, ...]


def drive_hours(crews: Iterable[CrewFacts], work_date: date) -> DriveHours | None:
    """Out when the first crew starts, back when the last one ends, between places in the middle of that."""
    shifts = [crew.shift for crew in crews]
    if not shifts:
        return None
    leaving, returning = min(start for start, _end in shifts), max(end for _start, end in shifts)
    return DriveHours(work_date, leaving, (leaving + returning) // 2, returning)


def usual_drive_hours(yard: Yard, today: date) -> DriveHours | None:
    """The hours of the yard's usual shifts on its next usual working day, for drives of no certain day. One query."""
    patterns = ShiftPattern.objects.filter(crew__yard=yard, crew__is_active=True)
    rows = list(patterns.values_list("weekday", "start_minute", "end_minute"))
    if not rows:
        return None
    days = (today + timedelta(days=ahead) for ahead in range(1, DAYS_AHEAD + 1))
    day = next(day for day in days if any(weekday == day.weekday() for weekday, _start, _end in rows))
    leaving = min(start for weekday, start, _end in rows if weekday == day.weekday())
    returning = max(end for weekday, _start, end in rows if weekday == day.weekday())
    return DriveHours(day, leaving, (leaving + returning) // 2, returning)


def yard_traffic(*, now: datetime) -> list[YardTraffic]:
    """The next working day of each yard that has one within DAYS_AHEAD days."""
    found = (_next_day(yard, clock.local_date(yard.timezone, now)) for yard in yard_list())
    return [each for each in found if each is not None]


def _next_day(yard: Yard, today: date) -> YardTraffic | None:
    for ahead in range(1, DAYS_AHEAD + 1):
        day = today + timedelta(days=ahead)
        hours = drive_hours(crews_on_shift(yard=yard, work_date=day), day)
        if hours is not None:
            return YardTraffic(yard, day, _drives(hours))
    return None


def _drives(hours: DriveHours) -> tuple[TrafficOfDrives, ...]:
    speeds = drive_speeds(hours)
    return tuple(TrafficOfDrives(kind, getattr(hours, kind), getattr(speeds, kind)) for kind in KINDS)
