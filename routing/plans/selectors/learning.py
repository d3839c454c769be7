"""Drives that were booked, and the factors that were learnt from them."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

from jobs.work.models import Visit
from routing.plans.domain.learning import DayFactors, Trip
from routing.plans.models import Crew, LearntDrive, Yard
from routing.roads.domain import Point
from routing.roads.domain.speeds import HourClass
from routing.roads.selectors import DriveHours, hour_class_on, traffic_hours
from routing.roads.services import drive_table
from shared import clock

LEARNING_DAYS = 365
AT_ONCE = 40  # trips whose drive times are asked for in one table
SECONDS = 60


@dataclass(frozen=True, slots=True)
class YardDrives:
    """A yard with what was learnt for each of its hours, the earliest first."""

    yard: Yard
    rows: tuple[LearntDrive, ...]

    @property
    def chart(self) -> list[dict[str, object]]:
        """The medians as shares of one, for the chart."""
        return [
            {
                "label": row.hours,
                "value": row.median_percent / 100,
                "low": None if row.low_percent is None else row.low_percent / 100,
                "high": None if row.high_percent is None else row.high_percent / 100,
                "note": "",
            }
            for row in self.rows
            if row.median_percent is not None
        ]


@dataclass(frozen=True, slots=True)
class _Drive:
    """From a stop to the next one of the same crew on the same day."""

    start: Point
    end: Point
    taken_minutes: int


def yard_drives(yards: Iterable[Yard]) -> list[YardDrives]:
    """What was learnt for each yard."""
    found: dict[int, list[LearntDrive]] = defaultdict(list)
    for row in LearntDrive.objects.order_by("from_minute"):
        found[row.yard_id].append(row)
    return [YardDrives(yard, tuple(found[yard.pk])) for yard in yards]


def learnt_factors(yard: Yard, hours: DriveHours | None) -> DayFactors:
    """The factors of a day's hours; 100 % where the yard does not use them, or nothing was learnt."""
    if not yard.uses_learnt_drives or hours is None:
        return DayFactors()
    known = dict(LearntDrive.objects.filter(yard=yard).values_list("hours", "factor_percent"))
    table = traffic_hours()
    minutes = (hours.leaving, hours.between, hours.returning)
    return DayFactors(*(known.get(hour_class_on(table, hours.work_date, minute).name, 100) for minute in minutes))


def booked_trips(yard: Yard, *, until: date) -> dict[HourClass, list[Trip]]:
    """The trips of the yard's crews in the last LEARNING_DAYS days before `until`, by the hours in which they began.

    Expected minutes come from the present drive times at those hours, without any factor, so that what was learnt
    before does not teach itself. Asks the source of drive times, so not within a transaction.
    """
    drives: dict[HourClass, list[_Drive]] = defaultdict(list)
    hours_of: dict[HourClass, DriveHours] = {}
    table = traffic_hours()
    for day, minute, drive in _drives(yard, until):
        hour = hour_class_on(table, day, minute)
        hours_of.setdefault(hour, DriveHours(day, minute, minute, minute))
        drives[hour].append(drive)
    return {hour: _trips(found, hours_of[hour]) for hour, found in drives.items()}


def _drives(yard: Yard, until: date) -> Iterator[tuple[date, int, _Drive]]:
    """Each drive with its day and the minute at which it began."""
    codes = Crew.objects.filter(yard=yard).values_list("code", flat=True)
    visits = Visit.objects.filter(
        crew_code__in=list(codes),
        work_date__gte=until - timedelta(days=LEARNING_DAYS),
        work_date__lt=until,
        corrects__isnull=True,
        arrived_at__isnull=False,
        finished_at__isnull=False,
    ).select_related("job__property")
    ordered = list(visits.order_by("work_date", "crew_code", "arrived_at", "id"))
    for before, after in zip(ordered, ordered[1:], strict=False):
        drive = _drive(before, after)
        if drive is not None and before.finished_at is not None:
            yield before.work_date, max(0, clock.minute_of(before.finished_at, before.work_date, yard.timezone)), drive


def _drive(before: Visit, after: Visit) -> _Drive | None:
    """The drive between two visits; None where they are not of one crew's day, or a place is not known."""
    if (before.work_date, before.crew_code) != (after.work_date, after.crew_code):
        return None
    start, end = (_place(visit) for visit in (before, after))
    if start is None or end is None or start == end or after.arrived_at is None or before.finished_at is None:
        return None
    return _Drive(start, end, ceil((after.arrived_at - before.finished_at).total_seconds() / SECONDS))


def _place(visit: Visit) -> Point | None:
    place = visit.job.property
    return None if place.latitude is None or place.longitude is None else (place.latitude, place.longitude)


def _trips(drives: Sequence[_Drive], hours: DriveHours) -> list[Trip]:
    found: list[Trip] = []
    for first in range(0, len(drives), AT_ONCE):
        some = drives[first : first + AT_ONCE]
        places = list(dict.fromkeys(place for drive in some for place in (drive.start, drive.end)))
        at = {place: position for position, place in enumerate(places)}
        minutes = drive_table(places, hours=hours, remember=False).minutes
        for drive in some:
            expected = minutes[at[drive.start]][at[drive.end]]
            if expected is not None:
                found.append(Trip(expected, drive.taken_minutes))
    return found
