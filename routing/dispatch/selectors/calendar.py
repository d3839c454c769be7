"""A crew's calendar feed (RFC 5545), made of what was sent out and nothing else.

The address is secret but needs no password, so gate codes, telephone numbers and customers' names stay out of it: a
stop is its street, its services and its time.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import Prefetch
from django.utils.translation import gettext as _
from icalendar import Calendar, Event

from jobs.work.models import Job
from routing.dispatch.load_out import service_name
from routing.dispatch.models import CalendarFeed, SentPlan, SentRoute, SentStop
from routing.plans.models import Crew
from shared import clock
from shared.errors import NotFound

PAST_DAYS = 31  # how long past stops stay in the feed
REFRESH = timedelta(minutes=15)


@dataclass(frozen=True)
class _Entry:
    """The newest version's word on one stop: when it is, or that it is off."""

    stop: SentStop
    sent: SentPlan
    is_on: bool


def feed_by_token(*, token: str) -> CalendarFeed:
    """Raises NotFound, also for a token that was renewed since."""
    feed = CalendarFeed.objects.select_related("crew__yard").filter(token=token).first()
    if feed is None:
        raise NotFound(_("There is no such calendar. Its address may have been renewed."))
    return feed


def calendar_of(*, crew: Crew, now: datetime) -> bytes:
    """The crew's stops as an iCalendar file: those in force confirmed, those dropped since cancelled."""
    calendar = Calendar()
    calendar.add("prodid", "-//Wallday//route//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("name", crew.name)
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    for entry in _entries(crew, now):
        calendar.add_component(_event(entry, crew))
    return bytes(calendar.to_ical())


def _entries(crew: Crew, now: datetime) -> Iterator[_Entry]:
    since = clock.local_date(crew.yard.timezone, now) - timedelta(days=PAST_DAYS)
    jobs = Job.objects.select_related("property").prefetch_related("lines__service")
    stops = SentStop.objects.order_by("position").prefetch_related(Prefetch("job", jobs))
    routes = SentRoute.objects.filter(crew=crew).prefetch_related(Prefetch("stops", stops))
    versions = (
        SentPlan.objects.filter(plan__work_date__gte=since, plan__yard=crew.yard_id)
        .select_related("plan__yard")
        .prefetch_related(Prefetch("routes", routes))
        .order_by("plan__work_date", "plan", "number")
    )
    by_plan: dict[int, list[SentPlan]] = {}
    for sent in versions:
        by_plan.setdefault(sent.plan_id, []).append(sent)
    for sent_of_day in by_plan.values():
        yield from _entries_of_day(sent_of_day)


def _entries_of_day(versions: list[SentPlan]) -> Iterator[_Entry]:
    """Each job once, with the last stop that any version gave it; on if the newest version has it."""
    newest = versions[-1]
    last: dict[int, SentStop] = {}
    for sent in versions:
        last |= {stop.job_id: stop for stop in _stops(sent)}
    in_force = {stop.job_id for stop in _stops(newest)}
    for job_id, stop in last.items():
        yield _Entry(stop, newest, job_id in in_force)


def _stops(sent: SentPlan) -> Iterable[SentStop]:
    return [stop for route in sent.routes.all() for stop in route.stops.all()]


def _event(entry: _Entry, crew: Crew) -> Event:
    plan, stop, place = entry.sent.plan, entry.stop, entry.stop.job.property
    zone = plan.yard.timezone
    event = Event()
    event.add("uid", f"{plan.yard.code}-{plan.work_date:%Y%m%d}-{crew.code}-job{stop.job_id}@wallday")
    event.add("sequence", entry.sent.number)
    event.add("dtstamp", entry.sent.sent_at)
    event.add("last-modified", entry.sent.sent_at)
    event.add("dtstart", clock.at_minute(plan.work_date, stop.arrive_minute, zone))
    event.add("dtend", clock.at_minute(plan.work_date, stop.finish_minute, zone))
    services = ", ".join(service_name(line.service) for line in stop.job.lines.all())
    event.add("summary", f"{place.street}: {services}")
    event.add("location", place.address)
    if place.latitude is not None and place.longitude is not None:
        event.add("geo", (round(place.latitude, 6), round(place.longitude, 6)))
    event.add("status", "CONFIRMED" if entry.is_on else "CANCELLED")
    event.add("url", f"{settings.WALLDAY_SITE_URL}/crew/")
    return event
