from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from pricing.catalogue.choices import CardState
from pricing.catalogue.domain import (
    FactorKind,
    HourlyTargetTerms,
    MaterialTerms,
    MinutesFactor,
    RateTerms,
    SurchargeKind,
    SurchargeTerms,
    SurchargeWhen,
)
from pricing.catalogue.domain.card_rows import COLUMNS, CardRow, Key, key_of
from pricing.catalogue.models import HourlyTarget, Rate, RateCard, Surcharge, TaxRate
from shared.errors import NotFound


class NoTargetYet(NotFound):
    """Nobody has set an hourly target that is in force on the day asked for."""

    code = "no_hourly_target"


def rate_card_on(*, on: date) -> RateCard | None:
    """The card in force on a day: the one with the latest start not after it."""
    return standing_cards().filter(effective_from__lte=on).order_by("-effective_from").first()


def standing_cards() -> QuerySet[RateCard]:
    """Every card that is, was or will be in force."""
    return RateCard.objects.filter(is_draft=False, withdrawn_at__isnull=True)


def rate_list(*, on: date) -> QuerySet[Rate]:
    """The rates of the card in force on a day with their services, by name; none where there is no card."""
    return rates_of(card=rate_card_on(on=on))


def rates_of(*, card: RateCard | None) -> QuerySet[Rate]:
    """The rates of a card with all that belongs to them, by the name of their service; none without a card."""
    rates = Rate.objects.filter(card=card).select_related("service", "card")
    return rates.prefetch_related("factors", "uses__material", "card__surcharges").order_by("service__name", "id")


def rate_terms(*, on: date) -> dict[str, RateTerms]:
    """The terms of every service on the card in force, by service code; empty where there is no card."""
    return card_terms(card=rate_card_on(on=on))


def card_terms(*, card: RateCard | None) -> dict[str, RateTerms]:
    """The terms of every service on a card, a draft as well, by service code."""
    return {rate.service.code: terms_of(rate) for rate in rates_of(card=card)}


def draft_card() -> RateCard | None:
    """The next version while it is written; None where nobody began one."""
    return RateCard.objects.filter(is_draft=True).first()


@dataclass(frozen=True, slots=True)
class CardVersion:
    """A card that was given a first day, with what became of it."""

    card: RateCard
    state: CardState


def card_versions(*, today: date) -> list[CardVersion]:
    """Every version there was and will be, also those that were withdrawn, the latest first day first."""
    cards = list(RateCard.objects.filter(is_draft=False).order_by("-effective_from", "-id"))
    begun = [card.pk for card in cards if card.withdrawn_at is None and card.effective_from <= today]
    return [CardVersion(card, _state(card, today, begun[:1])) for card in cards]


def _state(card: RateCard, today: date, in_force: list[int]) -> CardState:
    if card.withdrawn_at is not None:
        return CardState.WITHDRAWN
    if card.effective_from > today:
        return CardState.TO_COME
    return CardState.IN_FORCE if card.pk in in_force else CardState.PAST


def card_version_get(*, pk: int, today: date) -> CardVersion:
    """One version with its state. Raises NotFound, also for a draft."""
    found = next((version for version in card_versions(today=today) if version.card.pk == pk), None)
    if found is None:
        raise NotFound(_("There is no such rate card."))
    return found


def card_content(*, card: RateCard) -> dict[Key, CardRow]:
    """Everything that a card says, as rows."""
    return content_of(card, rates_of(card=card))


def content_of(card: RateCard, rates: Iterable[Rate]) -> dict[Key, CardRow]:
    """The same of a card whose rates were read before."""
    rows: list[CardRow] = []
    for rate in rates:
        code = rate.service.code
        rows.append({"part": "rate", "service": code, **{name: getattr(rate, name) for name in COLUMNS["rate"][1:]}})
        rows += [
            {"part": "factor", "service": code, "kind": row.kind, "level": row.level, "percent": row.percent}
            for row in rate.factors.all()
        ]
        rows += [
            {"part": "use", "service": code, "name": use.material.name,
             "volume_ml_per_100_units": use.volume_ml_per_100_units}
            for use in rate.uses.all()
        ]  # fmt: skip
    rows += [
        {"part": "material", "name": row.name, "cost_cents_per_gallon": row.cost_cents_per_gallon}
        for row in card.materials.all()
    ]
    rows += [
        {"part": "surcharge", "name": row.name, "service": row.service.code if row.service else "", "kind": row.kind,
         "figure": row.figure, "when": row.when, "level": row.level}
        for row in card.surcharges.select_related("service")
    ]  # fmt: skip
    return {key_of(row): row for row in rows}


def tax_on(*, on: date) -> int | None:
    """All taxes in force on a day together, in millionths; None where the owner entered none for it."""
    taxes: dict[str, int] = {}
    for tax in TaxRate.objects.filter(effective_from__lte=on).order_by("effective_from"):
        taxes[tax.name] = tax.rate_millionths
    return sum(taxes.values()) if taxes else None


def tax_list() -> QuerySet[TaxRate]:
    """Every tax that was entered, the latest first."""
    return TaxRate.objects.order_by("-effective_from", "name")


def target_on(*, on: date) -> HourlyTargetTerms:
    """The hourly target and reserve in force on a day. Raises ``NoTargetYet``."""
    row = HourlyTarget.objects.filter(effective_from__lte=on).order_by("-effective_from").first()
    if row is None:
        raise NoTargetYet(
            _("No hourly target is in force on %(day)s. The owner sets it on the rates page.") % {"day": on.isoformat()}
        )
    return HourlyTargetTerms(
        target_cents_per_crew_hour=row.target_cents_per_crew_hour,
        reserve_cents_per_crew_hour=row.reserve_cents_per_crew_hour,
    )


def target_list() -> QuerySet[HourlyTarget]:
    """Every target there was and will be, the latest first."""
    return HourlyTarget.objects.order_by("-effective_from")


def terms_of(rate: Rate) -> RateTerms:
    """A rate as the calculations take it; reads its service, factors, materials and the card's surcharges."""
    return RateTerms(
        service_code=rate.service.code,
        service_name=rate.service.name,
        unit=rate.service.unit,
        price_cents_per_100_units=rate.price_cents_per_100_units,
        minimum_price_cents=rate.minimum_price_cents,
        materials_cents_per_100_units=rate.materials_cents_per_100_units,
        setup_minutes=rate.setup_minutes,
        units_per_crew_hour=rate.units_per_crew_hour,
        units_per_crew_hour_high=rate.units_per_crew_hour_high,
        factors=tuple(MinutesFactor(FactorKind(row.kind), row.level, row.percent) for row in rate.factors.all()),
        materials=tuple(
            MaterialTerms(use.material.name, use.volume_ml_per_100_units, use.material.cost_cents_per_gallon)
            for use in rate.uses.all()
        ),
        surcharges=tuple(
            surcharge_of(row) for row in rate.card.surcharges.all() if row.service_id in (None, rate.service_id)
        ),
    )


def surcharge_of(row: Surcharge) -> SurchargeTerms:
    """A surcharge as the calculations take it."""
    return SurchargeTerms(row.name, SurchargeKind(row.kind), row.figure, SurchargeWhen(row.when), row.level)
