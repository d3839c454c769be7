"""Leads, and the hours of the coming days, as `pricing.triage` takes them."""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction

from django.db.models import QuerySet

from jobs.work.choices import JobState
from jobs.work.models import Job
from pricing.catalogue.selectors import NoTargetYet, target_on
from pricing.triage.domain.leads import CrewDay, Day, Drive, Judged, Lead, Point, Terms, judge_all
from routing.plans.models import Crew, DayPlan, Stop, Yard
from routing.plans.selectors.learning import learnt_table
from routing.plans.selectors.shifts import Shift, shifts_between
from routing.plans.selectors.traffic import usual_drive_hours
from routing.roads.services import FOR_A_PAGE
from shared.units import round_half_up

HORIZON_DAYS = 14
WORTH_DAYS = 28  # how far back a plan's worth of a crew-hour still says something; our choice


@dataclass(frozen=True)
class Triage:
    """The queue of a yard's leads judged against its coming days. `jobs` are the leads' rows by id."""

    yard: Yard
    days: tuple[Day, ...]
    judged: tuple[Judged, ...]
    jobs: dict[int, Job]
    terms: Terms
    drive_source: str


def lead_triage(*, yard: Yard, today: date, days: int = HORIZON_DAYS) -> Triage:
    """Judge every lead and estimate that waits for an answer. Reads only, a fixed number of queries.

    Without an hourly target every crew-hour counts as worth nothing and the page says so (terms of 0).
    """
    coming = _with_waiting(_days(yard, today + timedelta(days=1), today + timedelta(days=days)), today)
    jobs = {job.pk: job for job in _jobs()}
    leads = [_lead(job) for job in jobs.values()]
    terms = _terms(yard, today)
    drive, source = _drives(yard, leads, coming, today)
    return Triage(yard, coming, judge_all(leads, coming, terms, drive), jobs, terms, source)


def _with_waiting(days: tuple[Day, ...], today: date) -> tuple[Day, ...]:
    """Agreed work that no plan of today or later holds, spread evenly over the unplanned days on which it may be."""
    open_days = [day.work_date for day in days if not day.is_planned]
    waiting = dict.fromkeys(open_days, Fraction())
    for job in _agreed(today):
        windows = list(job.windows.all())
        able = [day for day in open_days if not windows or any(w.first_date <= day <= w.last_date for w in windows)]
        minutes = sum(line.estimated_minutes for line in job.lines.all())
        for day in able:
            waiting[day] += Fraction(minutes, len(able))
    return tuple(
        replace(day, waiting_crew_minutes=round_half_up(waiting.get(day.work_date, Fraction()))) for day in days
    )


def _agreed(today: date) -> QuerySet[Job]:
    held = Stop.objects.filter(route__plan__work_date__gte=today).values("job_id")
    return Job.objects.filter(state=JobState.AGREED).exclude(pk__in=held).prefetch_related("lines", "windows")


def _newest_worth(yard: Yard, today: date) -> int | None:
    """What a crew-hour was worth in the newest plan of the last four weeks that says so."""
    since = today - timedelta(days=WORTH_DAYS)
    plans = DayPlan.objects.filter(yard=yard, work_date__range=(since, today)).order_by("-work_date")
    worths = plans.values_list("plan__crew_hour_worth_cents", flat=True)
    return next((worth for worth in worths if worth is not None), None)


def _terms(yard: Yard, today: date) -> Terms:
    try:
        target = target_on(on=today)
    except NoTargetYet:
        return Terms(0, 0)
    return Terms(target.target_cents_per_crew_hour, target.reserve_cents_per_crew_hour, _newest_worth(yard, today))


def _jobs() -> list[Job]:
    rows = Job.objects.filter(state__in=(JobState.LEAD, JobState.ESTIMATED))
    rows = rows.select_related("property__customer").prefetch_related("lines__service__skills", "windows")
    return list(rows.order_by("pk"))


def _lead(job: Job) -> Lead:
    lines, place = list(job.lines.all()), job.property
    cards = [line.card_price_cents for line in lines if line.card_price_cents is not None]
    return Lead(
        job_id=job.pk,
        price_cents=max(0, job.price_cents),
        card_price_cents=sum(cards) if len(cards) == len(lines) and cards else None,
        materials_cents=sum(line.materials_cents for line in lines),
        on_site_minutes=sum(line.estimated_minutes for line in lines),
        needs=frozenset(skill.code for line in lines for skill in line.service.skills.all()),
        place=_point(place.latitude, place.longitude),
        windows=tuple((window.first_date, window.last_date) for window in job.windows.all()),
    )


def _days(yard: Yard, first: date, last: date) -> tuple[Day, ...]:
    crews = list(yard.crews.filter(is_active=True).prefetch_related("skills"))
    shifts = shifts_between(crews=crews, first=first, last=last)
    plans = {plan.work_date: plan for plan in _plans(yard, first, last)}
    dates = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    made = (_day(day, yard, crews, shifts, plans.get(day)) for day in dates)
    return tuple(day for day in made if day.crews)


def _plans(yard: Yard, first: date, last: date) -> list[DayPlan]:
    rows = DayPlan.objects.filter(yard=yard, work_date__range=(first, last)).defer("problem")
    return list(rows.prefetch_related("routes__stops__job__property"))


def _day(day: date, yard: Yard, crews: list[Crew], shifts: dict[tuple[int, date], Shift], plan: DayPlan | None) -> Day:
    routes = {route.crew_id: route for route in plan.routes.all()} if plan else {}
    rows = []
    for crew in crews:
        hours = shifts[crew.pk, day].hours
        if hours is None:
            continue
        unpaid = 0 if hours.break_is_paid else hours.break_minutes
        route = routes.get(crew.pk)
        booked = route.paid_minutes if route else 0
        stops = [stop.job.property for stop in route.stops.all()] if route else []
        path = [_point(place.latitude, place.longitude) for place in stops]
        rows.append(
            CrewDay(
                name=crew.name,
                skills=frozenset(skill.code for skill in crew.skills.all()),
                workers=crew.workers,
                free_minutes=max(0, hours.end_minute - hours.start_minute - unpaid - booked),
                path=(_home(yard), *(point for point in path if point), _home(yard)),
            )
        )
    worth = plan.plan.get("crew_hour_worth_cents") if plan else None
    return Day(day, plan is not None, worth, tuple(rows))


def _home(yard: Yard) -> Point:
    return yard.latitude, yard.longitude


def _point(latitude: float | None, longitude: float | None) -> Point | None:
    return None if latitude is None or longitude is None else (latitude, longitude)


def _drives(yard: Yard, leads: list[Lead], days: tuple[Day, ...], today: date) -> tuple[Drive, str]:
    """Minutes between any two places of the question, from one table, as the yard's plans reckon them."""
    points = {point for day in days for crew in day.crews for point in crew.path}
    points |= {lead.place for lead in leads if lead.place}
    in_order = [_home(yard), *sorted(points - {_home(yard)})]
    table = learnt_table(yard, in_order, usual_drive_hours(yard, today), server=FOR_A_PAGE)
    at = {point: i for i, point in enumerate(in_order)}
    return (lambda start, end: table.minutes[at[start]][at[end]]), table.source
