"""Plans as they were sent out, and who may see which part of them."""

from datetime import date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.db.models import OuterRef, Prefetch, Q, QuerySet, Subquery
from django.utils.translation import gettext as _

from jobs.walkthroughs.domain import LATE_BY
from jobs.work.models import Job
from routing.dispatch.models import CalendarFeed, SentPlan, SentRoute, SentStop, StopMark
from routing.plans.models import Crew, DayPlan, Yard
from routing.plans.selectors import working_days_around
from shared import clock
from shared.errors import NotFound


def sent_plan_latest(*, plan: DayPlan) -> SentPlan | None:
    """The newest version of a plan with its routes, stops and properties; None where it was never sent out."""
    return sent_plan_list(plan=plan).first()


def sent_plan_list(*, plan: DayPlan) -> QuerySet[SentPlan]:
    """Every version of a plan, the newest first."""
    stops = SentStop.objects.select_related("job__property").order_by("position")
    routes = SentRoute.objects.select_related("crew").prefetch_related(Prefetch("stops", stops))
    sent = SentPlan.objects.filter(plan=plan).select_related("sent_by")
    return sent.prefetch_related(Prefetch("routes", routes)).order_by("-number")


def sent_route_list(
    *, user: Any, now: datetime, work_date: date | None = None, own_only: bool = False, late: bool = False
) -> QuerySet[SentRoute]:
    """The routes in force, with their stops, that `user` may see: the office all of them, a crew lead only the own
    ones of today and of the next day on which the yard works, in its time zone. A route is in force while no later
    version was sent out.
    `own_only` asks for the same of somebody in the office who leads a crew; `late` also for the own routes of the last
    seven days, for what waited on a phone without a signal.
    """
    newest = SentPlan.objects.filter(plan=OuterRef("sent__plan")).order_by("-number").values("pk")[:1]
    stops = SentStop.objects.select_related("job__property__customer").order_by("position")
    routes = (
        SentRoute.objects.filter(sent=Subquery(newest))
        .select_related("sent__plan__yard", "crew__truck")
        .prefetch_related(Prefetch("stops", stops.prefetch_related("job__lines__service")))
    )
    if own_only or not user.is_office:
        routes = routes.filter(_own(user, now, late=late))
    if work_date:
        routes = routes.filter(sent__plan__work_date=work_date)
    return routes.order_by("-sent__plan__work_date", "crew__code", "id")


def sent_route_get(*, pk: int, user: Any, now: datetime) -> SentRoute:
    """One route in force. Raises NotFound, also for a route that is not for this person."""
    route = sent_route_list(user=user, now=now).filter(pk=pk).first()
    if route is None:
        raise NotFound(_("There is no such route, or it is not yours."))
    return route


def sent_stop_get(*, pk: int, user: Any, now: datetime, late: bool = False) -> SentStop:
    """The stop in force that `pk` means: a page that shows an older version still finds it.

    `late` also finds those of the last seven days: a phone may have had no signal since. Raises NotFound where the
    stop is not on a route of this person any more, or never was.
    """
    named = SentStop.objects.filter(pk=pk).select_related("route__sent").first()
    if named is not None:
        routes = sent_route_list(user=user, now=now, late=late).filter(
            sent__plan=named.route.sent.plan_id, crew=named.route.crew_id
        )
        stops = SentStop.objects.filter(route__in=routes, job=named.job_id)
        stop = stops.select_related("route__sent__plan__yard", "route__crew__truck", "job__property__customer").first()
        if stop is not None:
            return stop
    if late:
        raise NotFound(_("This stop is not on your route, nor was it in the last seven days. Ask the office."))
    raise NotFound(_("This stop is not on your route."))


def crew_feeds(*, yard: Yard) -> list[tuple[Crew, str]]:
    """The active crews of a yard with the addresses of their calendar feeds; empty where none was made yet."""
    crews = Crew.objects.filter(yard=yard, is_active=True).select_related("feed").order_by("code")
    return [(crew, _address(crew)) for crew in crews]


def _address(crew: Crew) -> str:
    feed: CalendarFeed | None = getattr(crew, "feed", None)
    return f"{settings.WALLDAY_SITE_URL}/calendar/{feed.token}.ics" if feed else ""


def marks_of(*, job_ids: list[int], work_date: date) -> dict[int, dict[str, datetime]]:
    """By job: the marks that were made on a day, kind and time."""
    marks: dict[int, dict[str, datetime]] = {}
    for mark in StopMark.objects.filter(job__in=job_ids, work_date=work_date):
        marks.setdefault(mark.job_id, {})[mark.kind] = mark.at
    return marks


def drive_share(*, job: Job, crew: Crew, work_date: date) -> tuple[int, int]:
    """The job's share of driving, minutes and metres, on the route that was sent out last; 0 where it was on none."""
    stops = SentStop.objects.filter(job=job, route__crew=crew, route__sent__plan__work_date=work_date)
    stop = stops.order_by("-route__sent__number").first()
    return (stop.drive_minutes, stop.drive_metres) if stop else (0, 0)


def _own(user: Any, now: datetime, *, late: bool) -> Q:
    """Each yard has its own date; somebody without a crew sees nothing."""
    mine = Q(pk__in=[])
    for crew in Crew.objects.filter(lead=user).select_related("yard"):
        today = clock.local_date(crew.yard.timezone, now)
        _before, after = working_days_around(yard=crew.yard, work_date=today)
        days = [today, after]
        if late:
            days += [today - timedelta(days=ago) for ago in range(1, LATE_BY.days + 1)]
        mine |= Q(crew=crew, sent__plan__work_date__in=days)
    return mine
