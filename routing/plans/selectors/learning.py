"""Drives that were booked, and the factors that were learnt from them."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

from jobs.work.models import Visit
from routing.plans.domain.learning import DayFactors, Gap, Trip, scaled
from routing.plans.models import Crew, LearntDrive, LearntPacking, ShiftHours, Yard
from routing.plans.selectors.shifts import shifts_between
from routing.roads.domain import DriveTable, Point
from routing.roads.domain.speeds import HourClass
from routing.roads.selectors import DriveHours, hour_class_on, traffic_hours
from routing.roads.services import ASK_SERVER, ServerUse, drive_table
from shared import clock

LEARNING_DAYS = 365
AT_ONCE = 40  # trips whose drive times are asked for in one table
SECONDS = 60


@dataclass(frozen=True, slots=True)
class YardDrives:
    """A yard with what was learnt for each of its hours, the earliest first."""

    yard: Yard
    rows: tuple[LearntDrive, ...]
    packing: LearntPacking | None

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
    crew_day: tuple[date, str]
    break_minutes: int


def yard_drives(yards: Iterable[Yard]) -> list[YardDrives]:
    """What was learnt for each yard."""
    found: dict[int, list[LearntDrive]] = defaultdict(list)
    for row in LearntDrive.objects.order_by("from_minute"):
        found[row.yard_id].append(row)
    packing = {row.yard_id: row for row in LearntPacking.objects.all()}
    return [YardDrives(yard, tuple(found[yard.pk]), packing.get(yard.pk)) for yard in yards]


def learnt_factors(yard: Yard, hours: DriveHours | None) -> DayFactors:
    """What was learnt for a day's hours; nothing where the yard does not use it.

    What was learnt against other speeds than those of the present table of traffic says nothing of these.
    """
    if not yard.uses_learnt_drives or hours is None:
        return DayFactors()
    rows = LearntDrive.objects.filter(yard=yard).values_list("hours", "speeds", "factor_percent")
    known = {(name, speeds): percent for name, speeds, percent in rows}
    table = traffic_hours()
    day = [hour_class_on(table, hours.work_date, minute) for minute in (hours.leaving, hours.between, hours.returning)]
    packing = LearntPacking.objects.filter(yard=yard).values_list("minutes", flat=True).first()
    leaving, between, returning = (known.get((hour.name, hour.key), 100) for hour in day)
    return DayFactors(leaving, between, returning, packing or 0)


def learnt_table(
    yard: Yard,
    points: Sequence[Point],
    hours: DriveHours | None,
    *,
    keep: bool = False,
    server: ServerUse = ASK_SERVER,
) -> DriveTable:
    """The drive table of a yard's plans: the traffic of the hours, and what was learnt where that is switched on.

    The first of `points` is the yard. `keep` what had to be computed, where the request is to change something.
    """
    return scaled(drive_table(points, hours=hours, keep=keep, server=server), learnt_factors(yard, hours))


def booked_gaps(yard: Yard, *, until: date) -> dict[HourClass, list[Gap]]:
    """The gaps of the yard's crews in the last LEARNING_DAYS days before `until`, by the hours in which they began.

    Expected minutes come from the present drive times at those hours, without what was learnt, so that what was learnt
    before does not teach itself. Asks the source of drive times, so not within a transaction.
    """
    drives: dict[HourClass, list[_Drive]] = defaultdict(list)
    hours_of: dict[HourClass, DriveHours] = {}
    table = traffic_hours()
    for day, minute, drive in _drives(yard, until):
        hour = hour_class_on(table, day, minute)
        hours_of.setdefault(hour, DriveHours(day, minute, minute, minute))
        drives[hour].append(drive)
    return {hour: _gaps(found, hours_of[hour]) for hour, found in drives.items()}


def _drives(yard: Yard, until: date) -> Iterator[tuple[date, int, _Drive]]:
    """Each drive with its day and the minute at which it began."""
    crews = {crew.code: crew for crew in Crew.objects.filter(yard=yard)}
    first = until - timedelta(days=LEARNING_DAYS)
    shifts = shifts_between(crews=list(crews.values()), first=first, last=until)
    visits = Visit.objects.filter(
        crew_code__in=list(crews),
        work_date__gte=first,
        work_date__lt=until,
        corrects__isnull=True,
        arrived_at__isnull=False,
        finished_at__isnull=False,
    ).select_related("job__property")
    ordered = list(visits.order_by("work_date", "crew_code", "arrived_at", "id"))
    for before, after in zip(ordered, ordered[1:], strict=False):
        drive = _drive(before, after, yard, shifts[crews[before.crew_code].pk, before.work_date].hours)
        if drive is not None and before.finished_at is not None:
            yield before.work_date, max(0, clock.minute_of(before.finished_at, before.work_date, yard.timezone)), drive


def _drive(before: Visit, after: Visit, yard: Yard, shift: ShiftHours | None) -> _Drive | None:
    """The drive between two visits; None where they are not of one crew's day, or a place is not known."""
    crew_day = (before.work_date, before.crew_code)
    if crew_day != (after.work_date, after.crew_code):
        return None
    start, end = (_place(visit) for visit in (before, after))
    if start is None or end is None or start == end or after.arrived_at is None or before.finished_at is None:
        return None
    taken = ceil((after.arrived_at - before.finished_at).total_seconds() / SECONDS)
    left, came = (
        clock.minute_of(moment, before.work_date, yard.timezone) for moment in (before.finished_at, after.arrived_at)
    )
    return _Drive(start, end, taken, crew_day, _break_within(shift, left, came))


def _break_within(shift: ShiftHours | None, left: int, came: int) -> int:
    """Minutes of the crew's break where it may have been taken between these minutes of the day, else 0."""
    if shift is None or came <= shift.break_from_minute or left >= shift.break_until_minute + shift.break_minutes:
        return 0
    return shift.break_minutes


def _place(visit: Visit) -> Point | None:
    place = visit.job.property
    return None if place.latitude is None or place.longitude is None else (place.latitude, place.longitude)


def _gaps(drives: Sequence[_Drive], hours: DriveHours) -> list[Gap]:
    found: list[Gap] = []
    for first in range(0, len(drives), AT_ONCE):
        some = drives[first : first + AT_ONCE]
        places = list(dict.fromkeys(place for drive in some for place in (drive.start, drive.end)))
        at = {place: position for position, place in enumerate(places)}
        minutes = drive_table(places, hours=hours, remember=False).minutes
        for drive in some:
            expected = minutes[at[drive.start]][at[drive.end]]
            if expected is not None:
                found.append(Gap(drive.crew_day, Trip(expected, drive.taken_minutes), drive.break_minutes))
    return found
