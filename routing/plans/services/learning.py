"""Learning drive times, and whether a yard's plans use what was learnt."""

from datetime import date
from typing import Any

from django.db import transaction

from routing.plans.domain.learning import factor_of
from routing.plans.models import LearntDrive, Yard
from routing.plans.selectors.learning import booked_trips
from shared import clock
from shared.events.services import event_record


def drives_learn(*, yard: Yard, until: date) -> list[LearntDrive]:
    """Fit the factors of a yard's hours anew from the drives booked before `until`; those before are replaced."""
    trips = booked_trips(yard, until=until)
    rows = []
    for hour, found in trips.items():
        factor = factor_of(found)
        rows.append(
            LearntDrive(
                yard=yard,
                hours=hour.name,
                from_minute=hour.from_minute,
                trips=factor.trips,
                factor_percent=factor.factor_percent,
                median_percent=factor.median_percent,
                low_percent=factor.low_percent,
                high_percent=factor.high_percent,
                fitted_at=clock.now(),
            )
        )
    with transaction.atomic():
        LearntDrive.objects.filter(yard=yard).delete()
        LearntDrive.objects.bulk_create(rows)
    return sorted(rows, key=lambda row: row.from_minute)


@transaction.atomic
def learnt_drives_use(*, yard: Yard, use: bool, actor: Any = None) -> Yard:
    """Have the yard's plans use what was learnt, or not. Plans that are made stay as they are."""
    if yard.uses_learnt_drives != use:
        Yard.objects.filter(pk=yard.pk).update(uses_learnt_drives=use)
        yard.uses_learnt_drives = use
        kind = "yard.learnt_drives_used" if use else "yard.learnt_drives_not_used"
        event_record(kind=kind, subject=yard, actor=actor)
    return yard
