"""What the crew lead's phone shows: the sent sheet, what changed, and how far each stop is."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from jobs.walkthroughs.selectors import Gate
from jobs.work.domain.states import CLOSED
from routing.dispatch.domain.marks import mark_next
from routing.dispatch.models import SentRoute, SentStop
from routing.dispatch.selectors.sent import marks_of, sent_route_list
from routing.dispatch.selectors.sheets import sheet_of_sent
from routing.dispatch.selectors.telling import announced
from routing.dispatch.sheet import Sheet, SheetStop
from routing.dispatch.words import change_words
from shared import clock


@dataclass(frozen=True)
class PhoneStop:
    """A stop with its marks: the times that clocks showed, by kind, and the mark that comes next on its day."""

    row: SheetStop
    marks: Mapping[str, int]
    next_mark: str | None
    state: str
    state_words: str
    gate: Gate  # whether it may be started
    is_over: bool  # nothing is to be done there any more
    is_next: bool = False  # the first stop of today that is not over
    is_announced: bool = False  # the customer was told that the crew is on its way


@dataclass(frozen=True)
class PhoneRoute:
    route: SentRoute
    sheet: Sheet
    is_today: bool
    is_tomorrow: bool
    changes: tuple[str, ...]
    stops: tuple[PhoneStop, ...]


def phone_routes(*, user: Any, now: datetime) -> list[PhoneRoute]:
    """The own routes of today and of the next working day, today's first."""
    routes = sent_route_list(user=user, now=now, own_only=True)
    return [_route(route, now) for route in sorted(routes, key=lambda route: route.sent.plan.work_date)]


def phone_stop(*, stop: SentStop) -> PhoneStop:
    """One stop, as the route shows it."""
    sheet = sheet_of_sent(route=stop.route)
    plan = stop.route.sent.plan
    row = next(row for row in sheet.stops if row.stop_id == stop.pk)
    marks = marks_of(job_ids=[stop.job_id], work_date=plan.work_date).get(stop.job_id, {})
    return _stop(row, stop, marks, plan.work_date, plan.yard.timezone, is_today=True)


def _route(route: SentRoute, now: datetime) -> PhoneRoute:
    plan, sheet = route.sent.plan, sheet_of_sent(route=route)
    day, zone = plan.work_date, plan.yard.timezone
    days_ahead = (day - clock.local_date(zone, now)).days
    is_today = days_ahead == 0
    stops = {stop.pk: stop for stop in route.stops.all()}
    job_ids = [stop.job_id for stop in stops.values()]
    marks = marks_of(job_ids=job_ids, work_date=day)
    return PhoneRoute(
        route=route,
        sheet=sheet,
        is_today=is_today,
        is_tomorrow=days_ahead == 1,
        changes=tuple(
            change_words(change, day=day, zone=zone)
            for change in route.sent.changes
            if change["crew"] == route.crew.code
        ),
        stops=_with_next(
            announced(job_ids=job_ids, work_date=day),
            [
                _stop(row, stops[row.stop_id], marks.get(row.job_id, {}), day, zone, is_today=is_today)
                for row in sheet.stops
            ],
        ),
    )


def _with_next(announced_jobs: set[int], stops: list[PhoneStop]) -> tuple[PhoneStop, ...]:
    """Mark the stop whose button is the one to press, and those whose customer knows that the crew is coming."""
    index = next((i for i, stop in enumerate(stops) if stop.next_mark), None)
    return tuple(
        replace(stop, is_next=i == index, is_announced=stop.row.job_id in announced_jobs)
        for i, stop in enumerate(stops)
    )


def _stop(
    row: SheetStop,
    stop: SentStop,
    marks: Mapping[str, datetime],
    day: date,
    zone: str,
    *,
    is_today: bool,
) -> PhoneStop:
    return PhoneStop(
        row=row,
        marks={kind: _shown(at, zone) for kind, at in marks.items()},
        next_mark=mark_next(marks) if is_today and stop.job.state not in CLOSED else None,
        state=stop.job.state,
        state_words=stop.job.get_state_display(),
        gate=row.start_gate,
        is_over=stop.job.state in CLOSED,
    )


def _shown(at: datetime, zone: str) -> int:
    """The minute of the day that clocks in `zone` showed at an instant."""
    local = at.astimezone(ZoneInfo(zone))
    return local.hour * 60 + local.minute
