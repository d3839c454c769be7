from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from pricing.costs.models import Bonus, CostSettings, MileageRate, Worker, WorkerTerms
from pricing.costs.selectors import cost_settings_get
from shared.errors import NotFound
from shared.events.services import event_record


@transaction.atomic
def worker_terms_set(
    *,
    name: str,
    effective_from: date,
    crew_code: str,
    cents_per_hour: int,
    burden_percent: int | None = None,
    actor: Any = None,
) -> WorkerTerms:
    """Set a worker's crew and wage from a day on; a name that is new is a new worker.

    The same day again replaces what was said for that day; what was booked before stays as it was booked. The
    history says that wages were set, never how high. Raises ``ValidationError``.
    """
    worker = Worker.objects.filter(name=name.strip()).first() or Worker(name=name.strip())
    worker.full_clean(validate_unique=worker.pk is None)
    worker.save()
    terms = WorkerTerms.objects.filter(worker=worker, effective_from=effective_from).first()
    terms = terms or WorkerTerms(worker=worker, effective_from=effective_from)
    terms.crew_code, terms.cents_per_hour, terms.burden_percent = crew_code.strip(), cents_per_hour, burden_percent
    terms.full_clean()
    terms.save()
    event_record(kind="worker.terms_set", subject=worker, actor=actor, data={"from": effective_from.isoformat()})
    return terms


@transaction.atomic
def cost_settings_set(*, week_starts_on: int, drawings_cents_a_year: int | None, actor: Any = None) -> CostSettings:
    """Say on which weekday (0 Monday to 6) the work week begins, and what the owner draws a year, or None.

    What was booked before stays as it was booked. The history names no amount. Raises ``ValidationError``.
    """
    settings = cost_settings_get()
    settings.week_starts_on, settings.drawings_cents_a_year = week_starts_on, drawings_cents_a_year
    settings.full_clean(validate_unique=False)
    settings.save()
    event_record(kind="costs.set", subject=settings, actor=actor, data={"week_starts_on": week_starts_on})
    return settings


@transaction.atomic
def mileage_rate_set(*, year: int, tenths_of_cent_per_mile: int, source: str, actor: Any = None) -> MileageRate:
    """Set a year's mileage rate with its source, for what is booked from now on. Raises ``ValidationError``."""
    rate = MileageRate.objects.filter(year=year).first() or MileageRate(year=year)
    rate.tenths_of_cent_per_mile, rate.source = tenths_of_cent_per_mile, source.strip()
    rate.full_clean()
    rate.save()
    data = {"year": year, "tenths_of_cent_per_mile": tenths_of_cent_per_mile}
    event_record(kind="mileage.set", subject=rate, actor=actor, data=data)
    return rate


@transaction.atomic
def bonus_add(*, name: str, earned_on: date, cents: int, is_promised: bool, reason: str, actor: Any = None) -> Bonus:
    """Add a bonus to a worker's week; a promised one counts in its regular rate. The history names no amount.

    Raises NotFound for a name that is not known, ``ValidationError``.
    """
    worker = Worker.objects.filter(name=name.strip()).first()
    if worker is None:
        raise NotFound(_("Nobody called %(name)s is paid here.") % {"name": name})
    bonus = Bonus(worker=worker, earned_on=earned_on, cents=cents, is_promised=is_promised, reason=reason.strip())
    bonus.full_clean()
    bonus.save()
    event_record(kind="worker.bonus", subject=worker, actor=actor, data={"earned_on": earned_on.isoformat()})
    return bonus
