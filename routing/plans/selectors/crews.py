"""The crews with their hours, as their page shows them."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from routing.plans.models import Crew
from routing.plans.selectors.shifts import Shift, shifts_between
from shared import clock
from shared.company.selectors import company_get

DAYS_AHEAD = 14


@dataclass(frozen=True)
class CrewOnPage:
    crew: Crew
    shifts: tuple[Shift, ...]


@dataclass(frozen=True)
class CrewsPage:
    days: tuple[date, ...]
    crews: tuple[CrewOnPage, ...]

    @property
    def rows(self) -> tuple[tuple[date, tuple[Shift, ...]], ...]:
        """Each day with the shift of every crew, in the crews' order."""
        return tuple((day, tuple(row.shifts[number] for row in self.crews)) for number, day in enumerate(self.days))


def crews_page(*, now: datetime) -> CrewsPage:
    """Active crews in order of yard and code, with the shifts of the coming two weeks."""
    crews = list(
        Crew.objects.filter(is_active=True)
        .select_related("yard", "truck", "lead")
        .prefetch_related("skills")
        .order_by("yard__code", "code")
    )
    first = clock.local_date(company_get().timezone, now)
    days = tuple(first + timedelta(days=number) for number in range(DAYS_AHEAD))
    shifts = shifts_between(crews=crews, first=days[0], last=days[-1])
    return CrewsPage(days, tuple(CrewOnPage(crew, tuple(shifts[crew.pk, day] for day in days)) for crew in crews))
