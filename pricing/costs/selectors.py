from collections import defaultdict
from datetime import date, timedelta

from django.db.models import F, Max, Sum

from pricing.costs.domain import DAYS_OF_A_WEEK, Terms, WorkerWeek, booked_wage_cents, terms_on, week_start, worker_week
from pricing.costs.models import Worker, WorkerTerms
from pricing.earnings.domain.wages import wage_cents
from pricing.earnings.models import EarningEntry
from shared.company.selectors import company_get
from shared.units import round_half_up

CrewMinutes = dict[tuple[str, date], int]


def worker_list() -> list[Worker]:
    """Everybody, with their terms, the latest first."""
    return list(Worker.objects.prefetch_related("terms"))


def week_hours(*, day: date) -> list[WorkerWeek]:
    """Hours and pay of everybody in the week of a day, by name."""
    monday = week_start(day)
    worked = crew_minutes(first=monday, last=monday + timedelta(days=DAYS_OF_A_WEEK - 1))
    everybody = _terms_by_name(company_get().wage_burden_percent)
    return [worker_week(name, terms, worked, monday) for name, terms in sorted(everybody.items())]


def last_worked_on(*, until: date) -> date:
    """The latest day up to ``until`` for which work of a crew is booked; ``until`` itself where there is none."""
    booked = EarningEntry.objects.filter(work_date__lte=until).exclude(crew_code="")
    return booked.aggregate(day=Max("work_date"))["day"] or until


def crew_minutes(*, first: date, last: date) -> CrewMinutes:
    """Minutes that each crew worked on each day as booked: on site, set-up and driving, corrections counted."""
    entries = EarningEntry.objects.filter(work_date__range=(first, last)).exclude(crew_code="").order_by("work_date")
    minutes = F("on_site_minutes") + F("setup_minutes") + F("drive_minutes")
    rows = entries.values_list("crew_code", "work_date").annotate(worked=Sum(minutes))
    return {(crew, day): worked for crew, day, worked in rows}


def wage_of_booking(*, crew_code: str, on: date, worked_minutes: int, crew_cents_per_hour: int) -> int:
    """Wages with burden of work that is about to be booked, overtime after 40 hours of the week included.

    By the members' own terms; of a crew whose members nobody entered, by the wage of the whole crew.
    """
    usual_burden = company_get().wage_burden_percent
    worked = crew_minutes(first=week_start(on), last=on)
    everybody = list(_terms_by_name(usual_burden).values())
    own = booked_wage_cents(everybody, worked, crew_code=crew_code, on=on, worked_minutes=worked_minutes)
    if own is not None:
        return own
    return wage_cents(
        worked_minutes=worked_minutes,
        cents_per_hour=crew_cents_per_hour,
        burden_percent=usual_burden,
        minutes_before_in_week=max(0, sum(minutes for (crew, _), minutes in worked.items() if crew == crew_code)),
    )


def crew_wages_on(*, on: date, usual_burden_percent: int) -> dict[str, tuple[int, int]]:
    """Wage of the whole crew an hour and its burden in whole percent, of each crew whose members are entered.

    Members without a burden of their own have the usual one. One query.
    """
    members: dict[str, list[Terms]] = defaultdict(list)
    for terms in _terms_by_name(usual_burden_percent).values():
        if found := terms_on(terms, on):
            members[found.crew_code].append(found)
    return {crew: _together(terms) for crew, terms in members.items()}


def _together(members: list[Terms]) -> tuple[int, int]:
    wage = sum(each.cents_per_hour for each in members)
    burden = sum(each.cents_per_hour * each.burden_percent for each in members)
    return wage, round_half_up(burden / wage) if wage else 0


def _terms_by_name(usual_burden_percent: int) -> dict[str, list[Terms]]:
    found: dict[str, list[Terms]] = defaultdict(list)
    for row in WorkerTerms.objects.select_related("worker"):
        burden = usual_burden_percent if row.burden_percent is None else row.burden_percent
        found[row.worker.name].append(Terms(row.effective_from, row.crew_code, row.cents_per_hour, burden))
    return found
