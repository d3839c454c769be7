from collections import defaultdict
from datetime import date, timedelta
from fractions import Fraction

from django.db.models import F, Max, Q, Sum

from pricing.costs.domain import DAYS_OF_A_WEEK, Terms, WorkerWeek, booked_wage_cents, terms_on, week_start, worker_week
from pricing.costs.inputs import YearRate
from pricing.costs.models import Bonus, CostSettings, MileageRate, Worker, WorkerTerms
from pricing.earnings.domain.wages import MILEAGE_TENTHS_OF_CENT, wage_cents
from pricing.earnings.models import EarningEntry
from shared.company.selectors import company_get
from shared.units import MINUTES_PER_HOUR, round_half_up

PUBLISHED = {
    2024: "IRS Notice 2024-08",
    2025: "IRS Notice 2025-05",
    2026: "IRS Notice 2026-10",
}
MINUTES_PER_CREW_HOUR = 2 * MINUTES_PER_HOUR  # of two workers
YEAR = timedelta(days=365)

CrewMinutes = dict[tuple[str, date], int]


def cost_settings_get() -> CostSettings:
    """What the owner said; the defaults where nothing was said. Writes nothing."""
    return CostSettings.objects.first() or CostSettings(pk=1)


def mileage_rate_list() -> list[YearRate]:
    """The rate of each year with its source, newest first: the owner's where there is one, else the published."""
    found = {year: YearRate(year, rate, PUBLISHED[year]) for year, rate in MILEAGE_TENTHS_OF_CENT.items()}
    for row in MileageRate.objects.all():
        found[row.year] = YearRate(row.year, row.tenths_of_cent_per_mile, row.source, is_own=True)
    return sorted(found.values(), key=lambda rate: -rate.year)


def mileage_rates() -> dict[int, int]:
    """Tenths of a cent a mile by year."""
    return {rate.year: rate.tenths_of_cent_per_mile for rate in mileage_rate_list()}


def drawings_per_crew_hour(*, until: date) -> int | None:
    """Cents of the owner's drawings on each crew-hour booked in the year up to a day; None where either is unknown."""
    drawings = cost_settings_get().drawings_cents_a_year
    entries = EarningEntry.objects.filter(work_date__gt=until - YEAR, work_date__lte=until)
    minutes = (F("on_site_minutes") + F("setup_minutes") + F("drive_minutes")) * F("workers")
    worked = entries.aggregate(worked=Sum(minutes))["worked"]
    if drawings is None or not worked or worked < 0:
        return None
    return round_half_up(Fraction(drawings * MINUTES_PER_CREW_HOUR, worked))


def worker_list() -> list[Worker]:
    """Everybody, with their terms, the latest first."""
    return list(Worker.objects.prefetch_related("terms"))


def week_hours(*, day: date) -> list[WorkerWeek]:
    """Hours and pay of everybody in the week of a day, by name."""
    first = week_start(day, cost_settings_get().week_starts_on)
    last = first + timedelta(days=DAYS_OF_A_WEEK - 1)
    worked, bonuses = crew_minutes(first=first, last=last), _bonuses_by_name(first, last)
    everybody = _terms_by_name(company_get().wage_burden_percent)
    return [
        worker_week(name, terms, worked, first, promised_cents=promised, gift_cents=gift)
        for name, terms in sorted(everybody.items())
        for promised, gift in [bonuses.get(name, (0, 0))]
    ]


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
    usual_burden, starts_on = company_get().wage_burden_percent, cost_settings_get().week_starts_on
    worked = crew_minutes(first=week_start(on, starts_on), last=on)
    everybody = list(_terms_by_name(usual_burden).values())
    own = booked_wage_cents(
        everybody, worked, crew_code=crew_code, on=on, worked_minutes=worked_minutes, starts_on=starts_on
    )
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


def _bonuses_by_name(first: date, last: date) -> dict[str, tuple[int, int]]:
    """Promised and other bonuses of the days, in cents, by worker."""
    rows = Bonus.objects.filter(earned_on__range=(first, last)).order_by().values_list("worker__name")
    promised, gift = Sum("cents", filter=Q(is_promised=True)), Sum("cents", filter=Q(is_promised=False))
    return {name: (p or 0, g or 0) for name, p, g in rows.annotate(p=promised, g=gift)}


def _terms_by_name(usual_burden_percent: int) -> dict[str, list[Terms]]:
    found: dict[str, list[Terms]] = defaultdict(list)
    for row in WorkerTerms.objects.select_related("worker"):
        burden = usual_burden_percent if row.burden_percent is None else row.burden_percent
        found[row.worker.name].append(Terms(row.effective_from, row.crew_code, row.cents_per_hour, burden))
    return found
