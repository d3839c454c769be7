from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

from jobs.work.domain.booking import LineBooked
from jobs.work.models import Job, Visit
from jobs.work.services import visit_record
from pricing.costs.selectors import mileage_rates, wage_of_booking
from pricing.earnings.domain.wages import mileage_cents
from routing.plans.models import Crew
from shared import clock
from shared.errors import Refused
from shared.units import cents_for_metres


def job_book(
    *,
    job: Job,
    crew: Crew,
    work_date: date,
    on_site_minutes: int,
    now: datetime,
    drive_minutes: int = 0,
    drive_metres: int = 0,
    arrived_at: datetime | None = None,
    started_at: datetime | None = None,
    finished_at: datetime | None = None,
    lines: Sequence[LineBooked] = (),
    note: str = "",
    actor: Any = None,
) -> Visit:
    """Book a job as done by a crew: `visit_record` with the crew's wages and its truck's driving.

    Both are of the minutes on site and the stop's share of the driving; wages come with burden and, after 40 hours of
    the week, with overtime. Raises what `visit_record` raises, and
    Refused for a day that has not come yet where the crew's yard is.
    """
    if work_date > clock.local_date(crew.yard.timezone, now):
        raise Refused(_("This day has not come yet."), work_date=work_date.isoformat())
    wages = wage_of_booking(
        crew_code=crew.code,
        on=work_date,
        worked_minutes=on_site_minutes + drive_minutes,
        crew_cents_per_hour=crew.wage_cents_per_hour,
    )
    return visit_record(
        job=job,
        work_date=work_date,
        crew_code=crew.code,
        workers=crew.workers,
        arrived_at=arrived_at,
        started_at=started_at,
        finished_at=finished_at,
        on_site_minutes=on_site_minutes,
        drive_minutes=drive_minutes,
        drive_metres=drive_metres,
        wage_cents=wages,
        vehicle_cents=_vehicle_cents(crew, work_date, drive_metres),
        lines=lines,
        note=note,
        actor=actor,
    )


def _vehicle_cents(crew: Crew, work_date: date, drive_metres: int) -> int:
    """What the driving cost: by the truck's own figure, for a crew that drives its own car by the mileage rate."""
    if crew.truck is None:
        return mileage_cents(drive_metres=drive_metres, on=work_date, rates=mileage_rates())
    return cents_for_metres(crew.truck.cents_per_km, drive_metres)
