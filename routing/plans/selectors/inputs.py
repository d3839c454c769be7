"""The one place where the rows of a day become the solver's problem.

Which jobs: agreed, planned or on site, with a window on the day. Not among them: jobs that stand in another plan of
today or later (they would be planned twice), and jobs promised for another day. On a day with a promised window only
the promised hours count. A job at a property without a place, one taken out by hand, and a promised one that stands
in another plan are set aside with the reason, never dropped silently.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from jobs.mixing.selectors import tank_ml_per_100_units
from jobs.work.choices import JobState
from jobs.work.minutes import minutes_on_routes
from jobs.work.models import Job, JobWindow
from pricing.catalogue.selectors import NoTargetYet, target_on
from routing.dispatch.models import MarkKind, StopMark
from routing.plans.choices import LeftOutReason, PlanState
from routing.plans.domain.facts import CrewFacts, DayFacts, JobFacts, Place, StartedStop
from routing.plans.domain.problem import (
    build_problem,
    digest_of,
    larger_than_any_tank,
    late_crews,
    out_of_time,
    places_of,
)
from routing.plans.models import Crew, DayPlan, LeftOut, Stop, Yard
from routing.plans.selectors.hours import real_minute
from routing.plans.selectors.learning import learnt_table
from routing.plans.selectors.shifts import crews_on_shift
from routing.plans.selectors.traffic import drive_hours
from routing.roads.domain import NO_STREET, NO_WAY_BACK, NO_WAY_TO, DriveTable
from routing.roads.services import ASK_SERVER, ServerUse
from routing.solver import Problem
from shared import clock
from shared.units import litres_up

OPEN_STATES = (JobState.AGREED, JobState.PLANNED, JobState.ON_SITE)


@dataclass(frozen=True, slots=True)
class SetAside:
    """A job that does not go into the problem, and why."""

    job_id: int
    reason: LeftOutReason
    note: str = ""


@dataclass(frozen=True)
class DayInputs:
    """What a plan is made from. `seen_version` is the plan's version when it was read; 0 where there was none.
    `about_roads` are those of the notices that say what cannot be driven, or that the routing server failed."""

    yard: Yard
    work_date: date
    problem: Problem
    set_aside: tuple[SetAside, ...]
    taken_out: frozenset[int]
    promised: tuple[int, ...]
    notices: tuple[str, ...]
    about_roads: tuple[str, ...]
    drive_source: str
    server_failed: bool
    digest: str
    seen_version: int
    today: date
    week: frozenset[date] = frozenset()


@dataclass(frozen=True)
class _Present:
    """What the present plan of the day holds on to."""

    version: int
    stops: tuple[StartedStop, ...]
    told_crew: dict[int, str]
    locked_crew: dict[int, str]
    taken_out: frozenset[int]


def day_problem(
    *,
    yard: Yard,
    work_date: date,
    now: datetime | None = None,
    rest_of_day: bool = False,
    gone: str = "",
    others: frozenset[int] = frozenset(),
    week: frozenset[date] = frozenset(),
    server: ServerUse = ASK_SERVER,
) -> DayInputs:
    """Read everything about the day and build its problem. Reads only, a fixed number of queries.

    `rest_of_day`: nothing begins before `now`, and where a crew has marked nothing its stops of the present plan that
    should have begun count as begun. `gone` is the code of a crew whose locks do not hold any more. `others` are jobs
    that belong to other days. Plans of this yard on the days of `week` are planned together: jobs on them are free.
    `server` says how a routing server is asked.
    """
    moment = now or clock.now()
    today = clock.local_date(yard.timezone, moment)
    present = _present(yard, work_date)
    present = replace(present, locked_crew={job: crew for job, crew in present.locked_crew.items() if crew != gone})
    rows = _rows(yard, work_date, today, _unmarked(present, yard, work_date, moment) if rest_of_day else (), week)
    rows = replace(
        rows, away=rows.away | others, is_under_way=rows.is_under_way or (rest_of_day and today == work_date)
    )
    facts = _facts(rows, yard, work_date, present, moment)
    hours = drive_hours(facts.crews, work_date)
    points = [(place.latitude, place.longitude) for place in places_of(facts)]
    table = learnt_table(yard, points, hours, keep=True, server=server)
    problem = build_problem(facts, table)
    too_late = (SetAside(job_id, LeftOutReason.WINDOW_UNREACHABLE) for job_id in out_of_time(facts))
    about_roads = (*_server_failed(table), *_unreachable(facts, table, rows.jobs))
    aside = (*_set_aside(rows.jobs, rows.elsewhere, work_date), *too_late)
    return DayInputs(
        yard=yard,
        work_date=work_date,
        problem=problem,
        set_aside=aside,
        taken_out=frozenset(job.job_id for job in facts.jobs if job.taken_out),
        promised=tuple(job.pk for job in rows.jobs if job.pk not in rows.away and _promised_on(job, work_date)),
        notices=(
            *_notices(facts, problem),
            *_other_minutes(facts, rows.jobs),
            *_unplannable(rows.jobs, aside, work_date),
            *about_roads,
        ),
        about_roads=about_roads,
        drive_source=table.source,
        server_failed=table.server_failed,
        digest=digest_of(problem),
        seen_version=present.version,
        today=today,
        week=week,
    )


@dataclass(frozen=True)
class _Rows:
    """What the tables say about the day. `away` are jobs that belong to another plan or day, or are done."""

    crews: tuple[CrewFacts, ...]
    jobs: list[Job]
    started: list[StartedStop]
    elsewhere: dict[int, str]
    away: set[int]
    is_under_way: bool


def _rows(yard: Yard, work_date: date, today: date, unmarked: tuple[StartedStop, ...], week: frozenset[date]) -> _Rows:
    crews = crews_on_shift(yard=yard, work_date=work_date)
    marks = list(_marks(yard, work_date))
    codes, speaking = {crew.code for crew in crews}, {mark.crew.code for mark in marks}
    started = _started(marks, codes, yard, work_date)
    started += [stop for stop in unmarked if stop.crew in codes - speaking]
    begun = {stop.job_id for stop in started}
    jobs = list(_jobs(work_date, list(begun)))
    elsewhere = jobs_in_other_plans([job.pk for job in jobs], yard=yard, days={work_date, *week}, today=today)
    done = {mark.job_id for mark in marks if mark.kind == MarkKind.FINISHED}
    promised = {job.pk for job in jobs if _other_promise(job, work_date, today)}
    return _Rows(crews, jobs, started, elsewhere, (set(elsewhere) | done | promised) - begun, bool(marks))


def _facts(rows: _Rows, yard: Yard, work_date: date, present: _Present, moment: datetime) -> DayFacts:
    usable = [job for job in rows.jobs if job.property.has_place and job.pk not in rows.away]
    placed = {job.pk for job in usable}
    tank_ml = tank_ml_per_100_units()
    promised = {job.pk for job in usable if _promised_on(job, work_date)}
    minutes = minutes_on_routes(usable, on=work_date, promised=promised)
    return DayFacts(
        yard=Place("yard", yard.latitude, yard.longitude),
        crews=rows.crews,
        jobs=tuple(_job_facts(job, minutes[job.pk], yard, work_date, present, tank_ml) for job in usable),
        started=tuple(stop for stop in rows.started if stop.job_id in placed),
        reserve_cents_per_crew_hour=_reserve(work_date),
        now_minute=clock.minute_of(moment, work_date, yard.timezone) if rows.is_under_way else None,
    )


def _present(yard: Yard, work_date: date) -> _Present:
    plan = DayPlan.objects.filter(yard=yard, work_date=work_date).first()
    if plan is None:
        return _Present(0, (), {}, {}, frozenset())
    stops = list(Stop.objects.filter(route__plan=plan).select_related("route__crew"))
    told = {stop.job_id: stop.route.crew.code for stop in stops} if plan.state != PlanState.DRAFT else {}
    taken_out = LeftOut.objects.filter(plan=plan, reason=LeftOutReason.TAKEN_OUT).values_list("job_id", flat=True)
    locked = {stop.job_id: stop.route.crew.code for stop in stops if stop.is_locked}
    planned = (StartedStop(s.route.crew.code, s.job_id, s.start_minute, s.finish_minute) for s in stops)
    return _Present(plan.version, tuple(planned), told, locked, frozenset(taken_out))


def _unmarked(present: _Present, yard: Yard, work_date: date, moment: datetime) -> tuple[StartedStop, ...]:
    """Stops that should have begun by now; those that should be over keep their planned end."""
    minute = clock.minute_of(moment, work_date, yard.timezone)
    return tuple(
        replace(stop, until_minute=stop.until_minute if (stop.until_minute or 0) <= minute else None)
        for stop in present.stops
        if stop.from_minute <= minute
    )


def _jobs(work_date: date, started: list[int]) -> QuerySet[Job]:
    on_the_day = JobWindow.objects.filter(first_date__lte=work_date, last_date__gte=work_date).values("job_id")
    wanted = Q(state__in=OPEN_STATES, pk__in=on_the_day) | Q(pk__in=started)
    return (
        Job.objects.filter(wanted)
        .select_related("property")
        .prefetch_related("lines__service__skills", "windows")
        .order_by("pk")
    )


def _marks(yard: Yard, work_date: date) -> QuerySet[StopMark]:
    marks = StopMark.objects.filter(work_date=work_date, crew__yard=yard)
    return marks.select_related("crew").order_by("at", "id")


def _started(marks: list[StopMark], on_shift: set[str], yard: Yard, work_date: date) -> list[StartedStop]:
    """One entry for each stop that a crew on shift has reached, in the order in which it was reached."""
    first: dict[int, StopMark] = {}
    begun: dict[int, StopMark] = {}
    finished: dict[int, StopMark] = {}
    for mark in marks:
        first.setdefault(mark.job_id, mark)
        if mark.kind == MarkKind.STARTED:
            begun[mark.job_id] = mark
        if mark.kind == MarkKind.FINISHED:
            finished[mark.job_id] = mark

    def minute(mark: StopMark | None) -> int | None:
        return None if mark is None else max(0, clock.minute_of(mark.at, work_date, yard.timezone))

    return [
        StartedStop(mark.crew.code, job_id, minute(begun.get(job_id, mark)) or 0, minute(finished.get(job_id)))
        for job_id, mark in first.items()
        if mark.crew.code in on_shift
    ]


def jobs_in_other_plans(job_ids: Iterable[int], *, yard: Yard, days: Iterable[date], today: date) -> dict[int, str]:
    """Jobs that a plan of another yard, or of a day not among `days`, today or later, holds; with that plan's name."""
    stops = Stop.objects.filter(job__in=list(job_ids), route__plan__work_date__gte=today)
    others = stops.exclude(route__plan__yard=yard, route__plan__work_date__in=list(days))
    return {stop.job_id: str(stop.route.plan) for stop in others.select_related("route__plan__yard")}


def _set_aside(jobs: list[Job], elsewhere: dict[int, str], work_date: date) -> tuple[SetAside, ...]:
    entries = []
    for job in jobs:
        if job.pk in elsewhere and _promised_on(job, work_date):
            entries.append(SetAside(job.pk, LeftOutReason.PLANNED_ELSEWHERE, elsewhere[job.pk]))
        elif job.pk not in elsewhere and not job.property.has_place:
            entries.append(SetAside(job.pk, LeftOutReason.NO_PLACE))
    return tuple(entries)


def _other_promise(job: Job, work_date: date, today: date) -> bool:
    """Whether the customer was told of another day that is still to come."""
    if _promised_on(job, work_date):
        return False
    return any(window.promised and window.first_date >= today for window in job.windows.all())


def _promised_on(job: Job, work_date: date) -> bool:
    return any(window.promised and window.first_date == work_date for window in job.windows.all())


def _job_facts(
    job: Job, on_site_minutes: int, yard: Yard, work_date: date, present: _Present, tank_ml: Mapping[int, int]
) -> JobFacts:
    lines = list(job.lines.all())
    price_cents = sum(line.price_cents for line in lines) - job.discount_cents
    latitude, longitude = job.property.latitude, job.property.longitude
    assert latitude is not None
    assert longitude is not None
    return JobFacts(
        job_id=job.pk,
        place=Place(f"p{job.property_id}", latitude, longitude),
        windows=_windows(job, yard, work_date),
        on_site_minutes=on_site_minutes,
        gain_cents=price_cents - sum(line.materials_cents for line in lines),
        needs=tuple(sorted({skill.code for line in lines for skill in line.service.skills.all()})),
        promised=_promised_on(job, work_date),
        told_crew=present.told_crew.get(job.pk),
        only_crew=present.locked_crew.get(job.pk),
        taken_out=job.pk in present.taken_out,
        tank_litres=litres_up(sum(line.quantity * tank_ml.get(line.service_id, 0) for line in lines) // 100),
    )


def _windows(job: Job, yard: Yard, work_date: date) -> tuple[tuple[int, int], ...]:
    """Real minutes; only the promised windows where there is a promise for the day."""
    today = [w for w in job.windows.all() if w.first_date <= work_date <= w.last_date]
    chosen = [window for window in today if window.promised] or today
    zone = yard.timezone
    spans = ((real_minute(work_date, w.start_minute, zone), real_minute(work_date, w.end_minute, zone)) for w in chosen)
    return tuple((opens, max(opens, closes)) for opens, closes in spans)


def _reserve(work_date: date) -> int:
    try:
        return target_on(on=work_date).reserve_cents_per_crew_hour
    except NoTargetYet:
        return 0


def _notices(facts: DayFacts, problem: Problem) -> list[str]:
    names = dict(Crew.objects.filter(code__in=late_crews(facts, problem)).values_list("code", "name"))
    codes = {crew.code for crew in facts.crews}
    lost = [job.job_id for job in facts.jobs if job.only_crew and job.only_crew not in codes]
    too_large = [
        _("Job %(job)s takes more mix than any tank of the day: it is planned with a full one, to be filled again.")
        % {"job": job_id}
        for job_id in larger_than_any_tank(facts)
    ]
    late = [
        _("%(crew)s runs late: its stops of today do not fit its shift or its break.") % {"crew": name}
        for name in names.values()
    ]
    return (
        late
        + too_large
        + [
            _("Job %(job)s was locked to a crew that is not on shift; the lock was not kept.") % {"job": job}
            for job in lost
        ]
    )


def _other_minutes(facts: DayFacts, jobs: list[Job]) -> list[str]:
    """Says how many jobs get other minutes than were agreed, since the owner chose so."""
    agreed = {job.pk: sum(line.estimated_minutes for line in job.lines.all()) for job in jobs}
    count = sum(job.on_site_minutes != agreed[job.job_id] for job in facts.jobs)
    words = ngettext(
        "%(count)s job has other minutes than were agreed: routes reckon as chosen under Minutes expected and taken.",
        "%(count)s jobs have other minutes than were agreed: routes reckon as chosen under Minutes expected and taken.",
        count,
    )
    return [words % {"count": count}] if count else []


def _unplannable(jobs: list[Job], aside: tuple[SetAside, ...], work_date: date) -> list[str]:
    """Promises that fall because the job cannot even go into the problem."""
    reasons = {entry.job_id: entry.reason for entry in aside}
    return [
        _("Job %(job)s, %(street)s, is promised for this day and was not planned: %(reason)s.")
        % {"job": job.pk, "street": job.property.street, "reason": reasons[job.pk].label}
        for job in jobs
        if job.pk in reasons and _promised_on(job, work_date)
    ]


def _server_failed(table: DriveTable) -> list[str]:
    """Says who answered instead; the plan's source says so too."""
    if not table.server_failed:
        return []
    words = _("The routing server failed. All drive times of this plan come from elsewhere: %(source)s.")
    return [words % {"source": table.source}]


def _unreachable(facts: DayFacts, table: DriveTable, jobs: list[Job]) -> list[str]:
    """Places that no crew can drive to or from, by their street and with the reason."""
    streets = {f"p{job.property_id}": job.property.street for job in jobs}
    names = [streets.get(place.key, _("the yard")) for place in places_of(facts)]
    return [
        _("No crew can drive to %(place)s: %(reason)s.")
        % {"place": names[entry.position], "reason": _REASONS.get(entry.reason, entry.reason)}
        for entry in table.unreachable
    ]


_REASONS = {
    NO_STREET: gettext_lazy("no street within 300 m"),
    NO_WAY_TO: gettext_lazy("there is no way to it from the yard"),
    NO_WAY_BACK: gettext_lazy("there is no way back from it"),
}
