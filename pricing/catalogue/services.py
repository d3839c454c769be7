from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from pricing.catalogue import defaults
from pricing.catalogue.models import HourlyTarget, Rate, RateCard, Service, Skill
from shared.errors import Refused
from shared.events.services import event_record


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
    return RateCard.objects.order_by("effective_from").first() or _first_card(on, services, actor)


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
    Rate.objects.bulk_create(_rate(card, service, default) for default, service in services)
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
