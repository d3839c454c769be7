"""A day plan as its page shows it: names, clock times, what each stop earns, chalk that has to be shown."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import cycle
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.customers.models import Wall
from jobs.walkthroughs.domain import must_be_shown
from jobs.walkthroughs.models import ChalkReading
from jobs.walkthroughs.selectors import latest_readings
from jobs.work.choices import JobState
from jobs.work.met import HouseNotes, MetNote, house_notes
from jobs.work.models import Job, JobWindow
from routing.dispatch.models import StopMark
from routing.plans.domain.hourly import hourly_of
from routing.plans.domain.keys import job_key
from routing.plans.models import Crew, DayPlan, LeftOut, Route, Stop
from routing.plans.selectors.hours import wall_minute
from routing.plans.selectors.stock import day_stock_needs
from shared import clock
from shared.units import MINUTES_PER_HOUR, crew_minutes, round_half_up
from shared.web.maps import LINE_STYLES, Line, Mark, Shape
from shared.web.words import clock_words

WHOLE_DAY = (0, 1439)


@dataclass(frozen=True)
class ChalkFound:
    wall: str
    reading: str


@dataclass(frozen=True)
class Promise:
    """What the customer was told: hours of the clock in which the work may begin (none: any), promised or possible."""

    hours: tuple[tuple[int, int], ...]
    is_promised: bool


@dataclass(frozen=True)
class JobOnPage:
    """What the day page says of a job, wherever it stands."""

    job: Job
    services: tuple[str, ...]
    price_cents: int
    promise: Promise

    @property
    def latitude(self) -> float | None:
        return self.job.property.latitude

    @property
    def longitude(self) -> float | None:
        return self.job.property.longitude

    @property
    def title(self) -> str:
        return self.job.property.street


@dataclass(frozen=True)
class StopOnPage(JobOnPage):
    """Minutes are those of the clock on the wall. `earned_cents` is per crew-hour, driving share counted."""

    stop: Stop
    number: int
    arrive: int
    start: int
    finish: int
    earned_cents: int | None
    chalk: tuple[ChalkFound, ...]
    met: tuple[MetNote, ...]  # what met on its walls that must not
    mark: str

    @property
    def is_closed(self) -> bool:
        """Called off or declined since the plan was made: the crew would go for nothing."""
        return self.job.state in (JobState.CALLED_OFF, JobState.DECLINED)

    @property
    def is_begun(self) -> bool:
        return bool(self.mark)


@dataclass(frozen=True)
class RouteOnPage:
    route: Route
    leave: int
    back: int
    break_start: int | None
    stops: tuple[StopOnPage, ...]

    @property
    def label(self) -> str:
        return self.route.crew.name


@dataclass(frozen=True)
class LeftOutOnPage(JobOnPage):
    left: LeftOut
    can_go_in: bool
    price_is_exact: bool


@dataclass(frozen=True)
class PlanOnPage:
    """`crews` are those that the plan was made with, also those without a stop."""

    plan: DayPlan
    routes: tuple[RouteOnPage, ...]
    left_out: tuple[LeftOutOnPage, ...]
    crews: tuple[Crew, ...]
    warnings: tuple[str, ...]

    @property
    def cents_per_crew_hour(self) -> float | None:
        """Profit for each paid hour of a crew."""
        return hourly_of(self.plan.problem, self.plan.plan).cents_per_crew_hour

    @property
    def idle_crews(self) -> tuple[Crew, ...]:
        driving = {row.route.crew_id for row in self.routes}
        return tuple(crew for crew in self.crews if crew.pk not in driving)

    @property
    def marks(self) -> list[Mark]:
        """The yard, the jobs left out and the stops with their numbers, for the map."""
        yard = self.plan.yard
        found = [Mark(yard.latitude, yard.longitude, yard.name, shape=Shape.YARD, legend=_("yard"))]
        for left in self.left_out:
            found += _mark_of(left, shape=Shape.LEFT_OUT, note=left.left.get_reason_display(), legend=_("left out"))
        for row in self.routes:
            for stop in row.stops:
                note = f"{row.label}, {clock_words(stop.start)}–{clock_words(stop.finish)}"
                found += _mark_of(stop, shape=Shape.STOP, note=note, text=str(stop.number))
        return found

    @property
    def lines(self) -> list[Line]:
        """Each route straight from place to place."""
        yard = (self.plan.yard.latitude, self.plan.yard.longitude)
        return [
            Line([yard, *(place for stop in row.stops for place in _place_of(stop)), yard], row.label, style)
            for row, style in zip(self.routes, cycle(range(1, LINE_STYLES + 1)), strict=False)
        ]

    @property
    def stop_count(self) -> int:
        return sum(len(row.stops) for row in self.routes)


def _place_of(row: JobOnPage) -> list[tuple[float, float]]:
    """Where the job is; nothing where nobody knows."""
    if row.latitude is None or row.longitude is None:
        return []
    return [(row.latitude, row.longitude)]


def _mark_of(row: JobOnPage, **words: Any) -> list[Mark]:
    href = reverse("work:job_page", args=[row.job.pk])
    return [Mark(*place, title=row.title, href=href, **words) for place in _place_of(row)]


@dataclass(frozen=True)
class _Known:
    """What is looked up once for the whole page: by property, by job."""

    plan: DayPlan
    keys: frozenset[str]
    exact: frozenset[str]
    chalk: dict[int, tuple[ChalkFound, ...]]
    notes: dict[int, HouseNotes]
    marks: dict[int, str]
    promises: dict[int, Promise]

    def wall(self, minute: int) -> int:
        return wall_minute(self.plan.work_date, minute, self.plan.yard.timezone)

    def promise(self, job_id: int) -> Promise:
        return self.promises.get(job_id, Promise((), False))


def plan_on_page(plan: DayPlan) -> PlanOnPage:
    """`plan` comes from `plan_in_rows`; six queries more, and those of the stock."""
    routes, left_out = list(plan.routes.all()), list(plan.left_out.all())
    stops = [stop for route in routes for stop in route.stops.all()]
    places = {stop.job.property_id for stop in stops}
    known = _Known(
        plan=plan,
        keys=frozenset(job["id"] for job in plan.problem["jobs"]),
        exact=frozenset(entry["job"] for entry in plan.plan["left_out"] if entry.get("price_is_exact")),
        chalk=_chalk(places),
        notes=house_notes(property_ids=places, now=clock.now(), zone=plan.yard.timezone),
        marks=_marks(plan),
        promises=_promises(plan, {stop.job_id for stop in stops} | {left.job_id for left in left_out}),
    )
    codes = [crew["id"] for crew in plan.problem["crews"]]
    return PlanOnPage(
        plan=plan,
        routes=tuple(_route(route, known) for route in routes),
        left_out=tuple(_left_out(left, known) for left in left_out),
        crews=tuple(Crew.objects.filter(code__in=codes).order_by("code")),
        warnings=(*plan.plan.get("reasons", ()), *plan.notices, *_met_words(stops, known), *_short_of(plan)),
    )


def _met_words(stops: Iterable[Stop], known: _Known) -> Iterable[str]:
    """Above the whole day where nobody may go on pouring; the rest stands at its stop."""
    for stop in stops:
        notes = known.notes.get(stop.job.property_id, HouseNotes()).for_job(stop.job_id)
        yield from (f"{stop.job.property.street}: {note.words}" for note in notes if note.is_stop)


def _short_of(plan: DayPlan) -> Iterable[str]:
    return (need.words for need in day_stock_needs(plan, now=clock.now()) if need.is_short)


def price_cents_of(job: Job) -> int:
    """Price before tax, less the discount. Reads prefetched lines."""
    return sum(line.price_cents for line in job.lines.all()) - job.discount_cents


def earned_per_crew_hour(price_cents: int, minutes: int, workers: int) -> int | None:
    """Cents per hour of a two-person crew; `minutes` on site and of driving together."""
    spent = crew_minutes(minutes, workers)
    return round_half_up(price_cents * MINUTES_PER_HOUR / spent) if spent else None


def services_of(job: Job) -> tuple[str, ...]:
    return tuple(line.service.name for line in job.lines.all())


def _route(route: Route, known: _Known) -> RouteOnPage:
    return RouteOnPage(
        route=route,
        leave=known.wall(route.leave_minute),
        back=known.wall(route.back_minute),
        break_start=None if route.break_minute is None else known.wall(route.break_minute),
        stops=tuple(_stop(route, stop, known) for stop in route.stops.all()),
    )


def _stop(route: Route, stop: Stop, known: _Known) -> StopOnPage:
    price_cents = price_cents_of(stop.job)
    minutes = stop.finish_minute - stop.start_minute + stop.drive_minutes
    return StopOnPage(
        stop=stop,
        number=stop.position,
        job=stop.job,
        services=services_of(stop.job),
        arrive=known.wall(stop.arrive_minute),
        start=known.wall(stop.start_minute),
        finish=known.wall(stop.finish_minute),
        price_cents=price_cents,
        earned_cents=earned_per_crew_hour(price_cents, minutes, route.crew.workers),
        promise=known.promise(stop.job_id),
        chalk=known.chalk.get(stop.job.property_id, ()),
        met=known.notes.get(stop.job.property_id, HouseNotes()).for_job(stop.job_id),
        mark=known.marks.get(stop.job_id, ""),
    )


def _left_out(left: LeftOut, known: _Known) -> LeftOutOnPage:
    return LeftOutOnPage(
        left=left,
        job=left.job,
        services=services_of(left.job),
        price_cents=price_cents_of(left.job),
        promise=known.promise(left.job_id),
        can_go_in=job_key(left.job_id) in known.keys,
        price_is_exact=job_key(left.job_id) in known.exact,
    )


def _promises(plan: DayPlan, job_ids: set[int]) -> dict[int, Promise]:
    """The windows of the day; where some are promised only those, as in the problem."""
    day = JobWindow.objects.filter(job__in=job_ids, first_date__lte=plan.work_date, last_date__gte=plan.work_date)
    found: dict[int, list[JobWindow]] = {}
    for window in day.order_by("start_minute", "id"):
        found.setdefault(window.job_id, []).append(window)
    return {job_id: _promise(windows) for job_id, windows in found.items()}


def _promise(windows: list[JobWindow]) -> Promise:
    promised = [window for window in windows if window.promised]
    hours = tuple((window.start_minute, window.end_minute) for window in promised or windows)
    return Promise(() if WHOLE_DAY in hours else hours, bool(promised))


def _chalk(property_ids: Iterable[int]) -> dict[int, tuple[ChalkFound, ...]]:
    """Walls whose newest reading must be shown to the homeowner, by property; the worst first."""
    walls = {wall.pk: wall for wall in Wall.objects.filter(property__in=list(property_ids))}
    readings = latest_readings(walls)
    found: dict[int, list[tuple[Any, ChalkFound]]] = {}
    for wall_id, reading in readings.items():
        if must_be_shown(reading.reading):
            entry = ChalkFound(walls[wall_id].name, _plain(reading))
            found.setdefault(walls[wall_id].property_id, []).append((reading.reading, entry))
    return {
        place: tuple(entry for _reading, entry in sorted(entries, key=lambda pair: (-pair[0], pair[1].wall)))
        for place, entries in found.items()
    }


def _plain(reading: ChalkReading) -> str:
    """4.0 -> "4", 2.5 -> "2.5"."""
    return f"{reading.reading.normalize():f}"


def _marks(plan: DayPlan) -> dict[int, str]:
    """The last thing that the crew said about each job of the day."""
    marks = StopMark.objects.filter(work_date=plan.work_date, crew__yard=plan.yard).order_by("at", "id")
    return {mark.job_id: mark.get_kind_display() for mark in marks}
