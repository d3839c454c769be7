from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from pricing.catalogue import defaults
from pricing.catalogue.models import (
    CardMaterial,
    HourlyTarget,
    MaterialUse,
    Rate,
    RateCard,
    RateFactor,
    Service,
    Skill,
    TaxRate,
)
from pricing.catalogue.selectors import standing_cards, tax_on
from shared.errors import Refused
from shared.events.services import event_record

WHOLE_MILLIONTHS = 1_000_000


@transaction.atomic
def catalogue_defaults(*, on: date, actor: Any = None) -> RateCard:
    """Give a company without a catalogue its first services, rate card and hourly target, from ``on``.

    The values are common practice, no source (see ``defaults.py``). Running it again adds what is missing by
    code and changes nothing that is there: a card, a target or a service of the same code stays as it is.
    """
    skills = {code: _skill(code, name) for code, name in defaults.SKILLS.items()}
    services = [(default, _service(default, skills)) for default in defaults.SERVICES]
    if not HourlyTarget.objects.exists():
        HourlyTarget.objects.create(
            effective_from=on,
            target_cents_per_crew_hour=defaults.TARGET_CENTS_PER_CREW_HOUR,
            reserve_cents_per_crew_hour=defaults.RESERVE_CENTS_PER_CREW_HOUR,
        )
    first = standing_cards().order_by("effective_from").first()
    return first or _first_card(on, services, actor)


@transaction.atomic
def target_set(*, effective_from: date, target_cents: int, reserve_cents: int, today: date, actor: Any) -> HourlyTarget:
    """Set the hourly target and reserve from a day on; earlier targets stay in the history.

    Setting the same day again replaces what was said for that day, and the event keeps both. Raises
    ``Refused`` for a day that has passed, since what a past day was judged by does not change, and
    ``ValidationError`` for a reserve above the target.
    """
    if effective_from < today:
        raise Refused(_("A new target can start today or later."), effective_from=effective_from.isoformat())
    row = HourlyTarget.objects.filter(effective_from=effective_from).first() or HourlyTarget(
        effective_from=effective_from
    )
    before = row.target_cents_per_crew_hour, row.reserve_cents_per_crew_hour
    row.target_cents_per_crew_hour, row.reserve_cents_per_crew_hour = target_cents, reserve_cents
    row.full_clean()
    row.save()
    event_record(
        kind="target.set",
        subject=row,
        actor=actor,
        data={"from": effective_from.isoformat(), "before": before, "after": [target_cents, reserve_cents]},
    )
    return row


@transaction.atomic
def tax_set(*, name: str, effective_from: date, rate_millionths: int, today: date, actor: Any) -> TaxRate:
    """Enter a tax from a day on; estimates made from then on begin with it, earlier ones keep theirs.

    Entering the same name and day again replaces what was said. Raises ``Refused`` for a day that has passed, for a
    name that is empty, and where all taxes of a day would reach 100 percent.
    """
    name = " ".join(name.split())
    if not name:
        raise Refused(_("Name the tax."))
    if effective_from < today:
        raise Refused(_("A tax can start today or later."), effective_from=effective_from.isoformat())
    row = TaxRate.objects.filter(name=name, effective_from=effective_from).first() or TaxRate(
        name=name, effective_from=effective_from
    )
    before, row.rate_millionths = row.rate_millionths, rate_millionths
    row.full_clean(validate_unique=False, validate_constraints=False)
    row.save()
    later = TaxRate.objects.filter(effective_from__gt=effective_from).values_list("effective_from", flat=True)
    if any((tax_on(on=day) or 0) >= WHOLE_MILLIONTHS for day in {effective_from, *later}):
        raise Refused(_("All taxes together must stay below 100 percent."))
    event_record(
        kind="tax.set",
        subject=row,
        actor=actor,
        data={"name": name, "from": effective_from.isoformat(), "before": before, "after": rate_millionths},
    )
    return row


def _skill(code: str, name: str) -> Skill:
    skill, _made = Skill.objects.get_or_create(code=code, defaults={"name": name})
    return skill


def _service(default: defaults.DefaultService, skills: dict[str, Skill]) -> Service:
    service, made = Service.objects.get_or_create(
        code=default.code,
        defaults={
            "name": default.name,
            "name_es": default.name_es,
            "unit": default.unit,
            "interval_months": default.interval_months,
            "removes_chalk": default.removes_chalk,
            "needs_walkthrough": default.needs_walkthrough,
            "cautions": "\n".join(default.cautions),
        },
    )
    if made:
        service.skills.set(skills[code] for code in default.skills)
    return service


def _first_card(on: date, services: list[tuple[defaults.DefaultService, Service]], actor: Any) -> RateCard:
    card = RateCard.objects.create(effective_from=on, note="Starting values: common practice, no source")
    materials = {
        name: CardMaterial.objects.create(card=card, name=name, cost_cents_per_gallon=cents)
        for name, cents in defaults.MATERIALS.items()
    }
    for default, service in services:
        rate = _rate(card, service, default)
        rate.save()
        RateFactor.objects.bulk_create(
            RateFactor(rate=rate, kind=kind, level=level, percent=percent)
            for (kind, level), percent in default.factors.items()
        )
        MaterialUse.objects.bulk_create(
            MaterialUse(rate=rate, material=materials[name], volume_ml_per_100_units=volume)
            for name, volume in default.volumes_ml_per_100_units
        )
    event_record(kind="rate_card.made", subject=card, actor=actor, reason=card.note)
    return card


def _rate(card: RateCard, service: Service, default: defaults.DefaultService) -> Rate:
    return Rate(
        card=card,
        service=service,
        price_cents_per_100_units=default.price_cents_per_100_units,
        minimum_price_cents=default.minimum_price_cents,
        materials_cents_per_100_units=default.materials_cents_per_100_units,
        setup_minutes=default.setup_minutes,
        units_per_crew_hour=default.units_per_crew_hour,
        units_per_crew_hour_high=default.units_per_crew_hour_high,
    )
