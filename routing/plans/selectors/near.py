"""Which of the coming days suit a property: how near a crew comes, and how many crew-minutes are free."""

from collections.abc import Iterable
from datetime import date, timedelta

from django.db.models import Exists, OuterRef, Sum

from jobs.customers.models import Property
from jobs.reminders.domain.answers import DayNear
from jobs.work.choices import JobState
from jobs.work.models import Job, JobLine, JobWindow
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
    room = _room(first, last)
    busy = _busy(first, last)
    return [
        DayNear(
            work_date=day,
            nearest_metres=_nearest(place, busy.get(day, [])),
            free_minutes=max(0, round(minutes * ROOM_SHARE) - sum(entry[2] for entry in busy.get(day, []))),
        )
        for day, minutes in sorted(room.items())
    ]


def free_minutes(*, today: date, weeks: int) -> int:
    """Free crew-minutes of the coming weeks, from the day after tomorrow on."""
    first, last = today + timedelta(days=FIRST_DAYS_AHEAD), today + timedelta(days=7 * weeks)
    busy = _busy(first, last)
    taken = {day: sum(entry[2] for entry in entries) for day, entries in busy.items()}
    return sum(max(0, round(minutes * ROOM_SHARE) - taken.get(day, 0)) for day, minutes in _room(first, last).items())


def undated_minutes(*, today: date, weeks: int) -> int:
    """Crew-minutes of work that is agreed for these weeks, or for any time, and has no day yet: it is in no plan from
    today on and not promised. It takes room of the free minutes, on whatever day."""
    last = today + timedelta(days=7 * weeks)
    planned = Stop.objects.filter(job=OuterRef("job"), route__plan__work_date__gte=today)
    windows = JobWindow.objects.filter(job=OuterRef("job"))
    here = windows.filter(first_date__lte=last, last_date__gte=today)
    lines = JobLine.objects.filter(job__state=JobState.AGREED).exclude(Exists(planned))
    lines = lines.exclude(Exists(windows.filter(promised=True))).filter(Exists(here) | ~Exists(windows))
    return lines.aggregate(minutes=Sum("estimated_minutes"))["minutes"] or 0


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
