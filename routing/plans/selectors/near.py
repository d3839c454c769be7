"""Which of the coming days suit a property: how near a crew comes, and how many crew-minutes are free."""

from collections.abc import Iterable
from datetime import date, timedelta

from jobs.customers.models import Property
from jobs.reminders.domain.answers import DayNear
from jobs.work.choices import JobState
from jobs.work.models import Job, JobWindow
from routing.plans.models import Crew, Stop
from routing.plans.selectors.shifts import shifts_between
from shared.geo import great_circle_metres

FIRST_DAYS_AHEAD = 2  # tomorrow's routes are settled; our choice, no source
DAYS_AHEAD = 28
CLOSED = (JobState.DONE, JobState.DECLINED, JobState.CALLED_OFF)
ROOM_SHARE = 0.8  # of a shift; the rest is driving, breaks and what goes wrong; common practice, no source

_Busy = dict[date, list[tuple[float, float, int]]]


def days_near(*, place: Property, today: date) -> list[DayNear]:
    """Every working day of the next four weeks, from the day after tomorrow on; a fixed number of queries.

    Free minutes are those of all crews on shift, less the minutes of the jobs that are planned or promised there.
    """
    first, last = today + timedelta(days=FIRST_DAYS_AHEAD), today + timedelta(days=DAYS_AHEAD)
    busy = _busy(first, last)
    free = _free(_room(first, last), busy)
    return [
        DayNear(work_date=day, nearest_metres=_nearest(place, busy.get(day, [])), free_minutes=minutes)
        for day, minutes in free.items()
    ]


def free_by_day(*, today: date, last: date) -> dict[date, int]:
    """Free crew-minutes of each working day from the day after tomorrow to `last`."""
    first = today + timedelta(days=FIRST_DAYS_AHEAD)
    return _free(_room(first, last), _busy(first, last))


def _free(room: dict[date, int], busy: _Busy) -> dict[date, int]:
    return {
        day: max(0, round(minutes * ROOM_SHARE) - sum(entry[2] for entry in busy.get(day, [])))
        for day, minutes in sorted(room.items())
    }


def _room(first: date, last: date) -> dict[date, int]:
    crews = list(Crew.objects.filter(is_active=True))
    room: dict[date, int] = {}
    for (_crew, day), shift in shifts_between(crews=crews, first=first, last=last).items():
        if shift.hours is not None:
            room[day] = room.get(day, 0) + shift.hours.end_minute - shift.hours.start_minute
    return room


def _busy(first: date, last: date) -> _Busy:
    """Latitude, longitude and minutes of each job on a day: those in plans, and those promised."""
    found: dict[tuple[date, int], tuple[float, float, int]] = {}
    stops = Stop.objects.filter(route__plan__work_date__range=(first, last)).values_list(
        "route__plan__work_date", "job"
    )
    promised = JobWindow.objects.filter(promised=True, first_date__range=(first, last)).values_list("first_date", "job")
    wanted = {*stops, *promised}
    jobs = _jobs(job_id for _day, job_id in wanted)
    for day, job_id in wanted:
        if job_id in jobs:
            found[day, job_id] = jobs[job_id]
    busy: _Busy = {}
    for (day, _job_id), entry in found.items():
        busy.setdefault(day, []).append(entry)
    return busy


def _jobs(job_ids: Iterable[int]) -> dict[int, tuple[float, float, int]]:
    jobs = Job.objects.filter(pk__in=set(job_ids), property__latitude__isnull=False).exclude(state__in=CLOSED)
    return {
        job.pk: (
            float(job.property.latitude or 0),
            float(job.property.longitude or 0),
            sum(line.estimated_minutes for line in job.lines.all()),
        )
        for job in jobs.select_related("property").prefetch_related("lines")
    }


def _nearest(place: Property, busy: Iterable[tuple[float, float, int]]) -> int | None:
    if place.latitude is None or place.longitude is None:
        return None
    metres = (great_circle_metres(place.latitude, place.longitude, lat, lon) for lat, lon, _minutes in busy)
    nearest = min(metres, default=None)
    return None if nearest is None else round(nearest)
