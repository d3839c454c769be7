"""The week as a problem, and a week's plan as its page shows it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from jobs.work.models import Job
from routing.plans.choices import LeftOutReason, PlanState
from routing.plans.domain.keys import job_id_of
from routing.plans.domain.week import DayOfWeek, crew_and_date, week_problem
from routing.plans.models import Crew, DayPlan, WeekPlan, Yard
from routing.plans.selectors.hours import clock_text
from routing.plans.selectors.inputs import DayInputs, day_problem
from routing.plans.selectors.labels import job_labels
from routing.roads.services import ASK_SERVER, ServerUse
from routing.solver import Problem
from shared import clock
from shared.errors import NotFound

DAYS_OF_A_WEEK = 7


def week_of(day: date) -> tuple[date, ...]:
    """Monday to Sunday."""
    monday = day - timedelta(days=day.weekday())
    return tuple(monday + timedelta(days=number) for number in range(DAYS_OF_A_WEEK))


def open_days(*, yard: Yard, first_day: date, now: datetime) -> tuple[date, ...]:
    """Days of the week from tomorrow on, or from its first day, whose plans were not sent out. One query."""
    days = week_of(first_day)
    sent = DayPlan.objects.filter(yard=yard, work_date__in=days).exclude(state=PlanState.DRAFT)
    closed = set(sent.values_list("work_date", flat=True))
    today = clock.local_date(yard.timezone, now)
    return tuple(day for day in days if day > today and day not in closed)


@dataclass(frozen=True)
class WeekInputs:
    """What a week's plan is made from; `notices` say what could not be planned or driven, and why."""

    problem: Problem
    drive_source: str
    notices: tuple[str, ...]


def week_inputs(*, yard: Yard, days: tuple[date, ...], now: datetime) -> WeekInputs:
    """The problem of these days. Drafts of them may be planned anew; what was sent out keeps its jobs."""
    first = clock.midnight(days[0], yard.timezone) if days else now
    parts = []
    found = _days_from_one_source(yard, days, now)
    for day in found:
        offset = int((clock.midnight(day.work_date, yard.timezone) - first).total_seconds()) // 60
        parts.append(DayOfWeek(day.work_date, offset, day.problem))
    return WeekInputs(
        problem=week_problem(parts),
        drive_source=", ".join(dict.fromkeys(day.drive_source for day in found)),
        notices=tuple(dict.fromkeys((*(words for day in found for words in day.about_roads), *_without_place(found)))),
    )


def _days_from_one_source(yard: Yard, days: tuple[date, ...], now: datetime) -> list[DayInputs]:
    """The days on which a crew works. Where the routing server failed for some of them, it is asked for none."""

    def read(server: ServerUse) -> list[DayInputs]:
        week = frozenset(days)
        found = (day_problem(yard=yard, work_date=day, now=now, week=week, server=server) for day in days)
        return [day for day in found if day.problem.crews]

    found = read(ASK_SERVER)
    is_mixed = len({day.server_failed for day in found}) > 1
    return read(ServerUse(failed=True)) if is_mixed else found


def _without_place(days: Sequence[DayInputs]) -> list[str]:
    """Jobs whose property stands nowhere on the map."""
    jobs = {aside.job_id for day in days for aside in day.set_aside if aside.reason == LeftOutReason.NO_PLACE}
    words = _("Not planned: %(job)s. %(reason)s.")
    reason = str(LeftOutReason.NO_PLACE.label).capitalize()
    return [words % {"job": label, "reason": reason} for label in (job_labels(jobs) if jobs else {}).values()]


def week_plan_by_id(*, week_id: int) -> WeekPlan:
    """Raises NotFound."""
    week = WeekPlan.objects.select_related("yard").filter(pk=week_id).first()
    if week is None:
        raise NotFound(_("There is no such week plan."))
    return week


def week_plan_latest(*, yard: Yard, first_day: date) -> WeekPlan | None:
    return WeekPlan.objects.select_related("yard").filter(yard=yard, first_day=week_of(first_day)[0]).first()


@dataclass(frozen=True)
class WeekStop:
    job: Job
    start: str
    finish: str


@dataclass(frozen=True)
class WeekRoute:
    crew: str
    value_cents: float
    stops: tuple[WeekStop, ...]


@dataclass(frozen=True)
class WeekDay:
    """One column of the page; `day_plan` is the plan that the day has already."""

    work_date: date
    routes: tuple[WeekRoute, ...]
    day_plan: DayPlan | None

    @property
    def value_cents(self) -> float:
        return sum(route.value_cents for route in self.routes)

    @property
    def stop_count(self) -> int:
        return sum(len(route.stops) for route in self.routes)


@dataclass(frozen=True)
class WeekLeftOut:
    job: Job
    reason: str
    price_to_place_cents: int | None


@dataclass(frozen=True)
class WeekOnPage:
    days: tuple[WeekDay, ...]
    left_out: tuple[WeekLeftOut, ...]
    warnings: tuple[str, ...]


def week_on_page(*, yard: Yard, first_day: date, week: WeekPlan | None) -> WeekOnPage:
    """Days side by side; three queries."""
    plan: Mapping[str, Any] = (week.plan if week else None) or {"routes": [], "left_out": []}
    keys = [stop["job"] for route in plan["routes"] for stop in route["stops"]]
    keys += [entry["job"] for entry in plan["left_out"]]
    jobs = Job.objects.filter(pk__in=[job_id_of(key) for key in keys]).select_related("property__customer").in_bulk()
    names = dict(Crew.objects.values_list("code", "name"))
    present = {row.work_date: row for row in DayPlan.objects.filter(yard=yard, work_date__in=week_of(first_day))}
    routes: dict[date, list[WeekRoute]] = {}
    for route in plan["routes"]:
        crew, day = crew_and_date(route["crew"])
        stops = tuple(_stop(yard, week, day, stop, jobs) for stop in route["stops"] if job_id_of(stop["job"]) in jobs)
        routes.setdefault(day, []).append(WeekRoute(names.get(crew, crew), route["value_cents"], stops))
    shown = [day for day in week_of(first_day) if day in routes or day in present]
    return WeekOnPage(
        days=tuple(WeekDay(day, tuple(routes.get(day, ())), present.get(day)) for day in shown),
        left_out=_left_out(plan, jobs),
        warnings=(*plan.get("reasons", ()), *(week.notices if week and week.plan else ())),
    )


def _stop(yard: Yard, week: WeekPlan | None, day: date, stop: Mapping[str, Any], jobs: Mapping[int, Job]) -> WeekStop:
    assert week is not None
    zero = clock.midnight(date.fromisoformat(week.days[0]), yard.timezone)
    offset = int((clock.midnight(day, yard.timezone) - zero).total_seconds()) // 60
    start, finish = (clock_text(day, stop[name] - offset, yard.timezone) for name in ("start", "finish"))
    return WeekStop(jobs[job_id_of(stop["job"])], start, finish)


def _left_out(plan: Mapping[str, Any], jobs: Mapping[int, Job]) -> tuple[WeekLeftOut, ...]:
    entries = [
        WeekLeftOut(
            jobs[job_id_of(entry["job"])],
            str(LeftOutReason(entry["reason"]).label),
            entry["price_to_place_cents"] or None,
        )
        for entry in plan["left_out"]
        if job_id_of(entry["job"]) in jobs
    ]
    return tuple(sorted(entries, key=lambda row: (row.price_to_place_cents is None, row.price_to_place_cents or 0)))
