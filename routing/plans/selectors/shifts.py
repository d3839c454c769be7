"""Which crews work on a day, and when."""

from dataclasses import dataclass
from datetime import date

from pricing.costs.selectors import crew_wages_on
from routing.plans.domain.facts import CrewFacts
from routing.plans.models import Crew, ShiftException, ShiftHours, ShiftPattern, Yard
from routing.plans.selectors.hours import real_minute
from shared.company.selectors import company_get


@dataclass(frozen=True)
class Shift:
    """A crew's hours on one day: its usual ones, or those of an exception. `hours` is None on a day off."""

    crew: Crew
    work_date: date
    hours: ShiftHours | None
    exception: ShiftException | None


def shifts_between(*, crews: list[Crew], first: date, last: date) -> dict[tuple[int, date], Shift]:
    """The shift of each crew on each day, by (crew id, day). Two queries, whatever the number of days."""
    patterns = {(p.crew_id, p.weekday): p for p in ShiftPattern.objects.filter(crew__in=crews)}
    exceptions = {
        (e.crew_id, e.work_date): e
        for e in ShiftException.objects.filter(crew__in=crews, work_date__range=(first, last))
    }
    days = [date.fromordinal(number) for number in range(first.toordinal(), last.toordinal() + 1)]
    return {
        (crew.pk, day): _shift(crew, day, patterns.get((crew.pk, day.weekday())), exceptions.get((crew.pk, day)))
        for crew in crews
        for day in days
    }


def _shift(crew: Crew, day: date, pattern: ShiftPattern | None, exception: ShiftException | None) -> Shift:
    if exception is None:
        return Shift(crew, day, pattern, None)
    return Shift(crew, day, None if exception.is_off else exception, exception)


def crews_on_shift(*, yard: Yard, work_date: date) -> tuple[CrewFacts, ...]:
    """The yard's crews that work that day, in order of their code."""
    crews = list(yard.crews.filter(is_active=True).select_related("truck").prefetch_related("skills"))
    shifts = shifts_between(crews=crews, first=work_date, last=work_date)
    usual_burden = company_get().wage_burden_percent
    wages = crew_wages_on(on=work_date, usual_burden_percent=usual_burden)
    on = ((crew, shifts[crew.pk, work_date].hours) for crew in crews)
    return tuple(
        _facts(crew, hours, yard, work_date, wages.get(crew.code, (crew.wage_cents_per_hour, usual_burden)))
        for crew, hours in on
        if hours is not None
    )


def _facts(crew: Crew, hours: ShiftHours, yard: Yard, work_date: date, wage: tuple[int, int]) -> CrewFacts:
    wage_cents_per_hour, burden_percent = wage

    def real(wall_minute: int) -> int:
        return real_minute(work_date, wall_minute, yard.timezone)

    return CrewFacts(
        code=crew.code,
        shift=(real(hours.start_minute), real(hours.end_minute)),
        skills=tuple(sorted(skill.code for skill in crew.skills.all())),
        wage_cents_per_hour=wage_cents_per_hour,
        burden_percent=burden_percent,
        workers=crew.workers,
        pace_percent=crew.pace_percent,
        cents_per_km=crew.truck.cents_per_km if crew.truck else 0,
        fixed_cents=crew.fixed_cents,
        overtime_after_minutes=hours.overtime_after_minutes,
        break_minutes=hours.break_minutes,
        break_window=(real(hours.break_from_minute), real(hours.break_until_minute)),
        break_is_paid=hours.break_is_paid,
        mix_litres=crew.truck.mix_litres if crew.truck else None,
    )
