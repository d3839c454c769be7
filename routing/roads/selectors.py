"""Reads of the road room: the map in use and the speeds of the day."""

from dataclasses import dataclass
from datetime import date

from routing.roads.domain.speeds import DEFAULT_HOURS, FREE, HourClass, hour_class_at
from routing.roads.models import THE_TABLE, RoadMap, TrafficHours, TrafficTable

SATURDAY = 5
NOON = 720


@dataclass(frozen=True, slots=True)
class DriveHours:
    """When a yard's crews drive, as local minutes of the day: out from the yard, between places, and back to it."""

    work_date: date
    leaving: int
    between: int
    returning: int


@dataclass(frozen=True, slots=True)
class DriveSpeeds:
    """The traffic out from the first place, between all others, and back to the first."""

    leaving: HourClass
    between: HourClass
    returning: HourClass


ANY_HOUR = DriveSpeeds(FREE, FREE, FREE)


def road_map_current() -> RoadMap | None:
    """The map that plans are made on, None where there is none yet."""
    return RoadMap.objects.filter(is_current=True).first()


def traffic_table() -> TrafficTable:
    """The row that counts the changes of the owner's table; its first version where nothing was changed yet."""
    return TrafficTable.objects.filter(pk=THE_TABLE).first() or TrafficTable(pk=THE_TABLE)


def traffic_is_default() -> bool:
    """Whether the starting values are in use: the owner has no table."""
    return not TrafficHours.objects.exists()


def traffic_hours() -> tuple[HourClass, ...]:
    """The owner's table of speeds, or the starting values where it is empty."""
    rows = tuple(_hour_class(row) for row in TrafficHours.objects.all())
    return rows or DEFAULT_HOURS


def _hour_class(row: TrafficHours) -> HourClass:
    percent = (row.motorway_percent, row.main_percent, row.street_percent, row.last_mile_percent)
    return HourClass(row.name, row.from_minute, percent)


def drive_speeds(hours: DriveHours) -> DriveSpeeds:
    """The traffic of the hours in which the crews drive; on Saturdays and Sundays that of noon at all hours."""
    table = traffic_hours()
    minutes = (hours.leaving, hours.between, hours.returning)
    leaving, between, returning = (hour_class_on(table, hours.work_date, minute) for minute in minutes)
    return DriveSpeeds(leaving, between, returning)


def hour_class_on(table: tuple[HourClass, ...], work_date: date, minute: int) -> HourClass:
    """The traffic of a day's minute; on Saturdays and Sundays that of noon."""
    return hour_class_at(table, NOON if work_date.weekday() >= SATURDAY else minute)
