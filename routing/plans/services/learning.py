"""Learning drive times, and whether a yard's plans use what was learnt."""

from dataclasses import asdict
from datetime import date, datetime
from typing import Any

from django.db import transaction

from routing.plans.domain.learning import Factor, fitted
from routing.plans.models import LearntDrive, LearntPacking, Yard
from routing.plans.selectors.learning import booked_gaps
from routing.roads.domain.speeds import HourClass
from shared import clock
from shared.events.services import event_record


def drives_learn(*, yard: Yard, until: date) -> list[LearntDrive]:
    """Fit the fixed part and the factors of a yard's hours anew from the drives booked before `until`; those before
    are replaced."""
    packing, factors = fitted(booked_gaps(yard, until=until))
    now = clock.now()
    rows = [_row(yard, hour, factor, now) for hour, factor in factors.items()]
    with transaction.atomic():
        LearntDrive.objects.filter(yard=yard).delete()
        LearntDrive.objects.bulk_create(rows)
        LearntPacking.objects.update_or_create(yard=yard, defaults={**asdict(packing), "fitted_at": now})
    return sorted(rows, key=lambda row: row.from_minute)


def _row(yard: Yard, hour: HourClass, factor: Factor, now: datetime) -> LearntDrive:
    return LearntDrive(
        yard=yard,
        hours=hour.name,
        from_minute=hour.from_minute,
        speeds=hour.key,
        fitted_at=now,
        **asdict(factor),
    )


@transaction.atomic
def learnt_drives_use(*, yard: Yard, use: bool, actor: Any = None) -> Yard:
    """Have the yard's plans use what was learnt, or not. Plans that are made stay as they are."""
    if yard.uses_learnt_drives != use:
        Yard.objects.filter(pk=yard.pk).update(uses_learnt_drives=use)
        yard.uses_learnt_drives = use
        kind = "yard.learnt_drives_used" if use else "yard.learnt_drives_not_used"
        event_record(kind=kind, subject=yard, actor=actor)
    return yard
