"""A whole rate card laid out to be read: what stands on its page."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pricing.catalogue.domain.card_rows import CardContent
from pricing.catalogue.models import Rate, RateCard, Service
from pricing.catalogue.selectors import content_of, rates_of, terms_of
from pricing.catalogue.wording import CardTongue, amount_words, card_rules, level_words, part_rows, when_words
from pricing.estimates.domain import card_cents_per_crew_hour
from shared.web.present import company_now
from shared.web.words import volume_words


@dataclass(frozen=True, slots=True)
class RateRow:
    """A rate; `hour` and `hour_high` are cents that an hour of the work alone brings, on one storey and on more."""

    rate: Rate
    per: str
    hour: int
    hour_high: int


@dataclass(frozen=True, slots=True)
class MaterialRow:
    """A material with its cost in words, and what takes how much of it."""

    name: str
    cost: str
    uses: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CardSheet:
    """`factors`: level, percent of the usual minutes, for whom. `surcharges`: name, amount, for whom, when."""

    rates: tuple[RateRow, ...]
    factors: tuple[tuple[str, int, str], ...]
    materials: tuple[MaterialRow, ...]
    surcharges: tuple[tuple[str, str, str, str], ...]


def card_tongue() -> CardTongue:
    """Names and units of the company's services."""
    services = list(Service.objects.all())
    names = {service.code: service.name for service in services}
    units = {service.code: service.unit for service in services}
    return CardTongue(names, units, company_now().currency)


def card_sheet(card: RateCard, tongue: CardTongue) -> CardSheet:
    """Everything that a card says."""
    rates = list(rates_of(card=card))
    content = content_of(card, rates)
    return CardSheet(
        rates=tuple(_rate_row(rate, tongue) for rate in rates),
        factors=tuple(
            (level_words(rule.kind, rule.level), rule.percent, tongue.name(rule.service))
            for rule in card_rules(content)
        ),
        materials=tuple(_materials(content, tongue)),
        surcharges=tuple(
            (str(row["name"]), amount_words(str(row["kind"]), row["figure"], tongue), tongue.name(str(row["service"])),
             when_words(str(row["when"]), str(row["level"])))
            for row in part_rows(content, "surcharge")
        ),
    )  # fmt: skip


def _rate_row(rate: Rate, tongue: CardTongue) -> RateRow:
    terms = terms_of(rate)
    hours = [card_cents_per_crew_hour(terms, storeys=storeys) for storeys in (1, 2)]
    return RateRow(rate, tongue.per_hundred(rate.service.code), *hours)


def _materials(content: CardContent, tongue: CardTongue) -> Iterator[MaterialRow]:
    uses: dict[Any, list[str]] = {}
    for row in part_rows(content, "use"):
        code, volume = str(row["service"]), volume_words(int(row["volume_ml_per_100_units"]))
        uses.setdefault(row["name"], []).append(f"{tongue.name(code)} {volume} {tongue.per_hundred(code)}")
    for row in part_rows(content, "material"):
        cost = tongue.money(row["cost_cents_per_gallon"])
        yield MaterialRow(str(row["name"]), cost, tuple(uses.get(row["name"], ())))
