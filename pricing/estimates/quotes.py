"""What the card asks for work before anybody made an estimate, as a condition notice quotes it."""

from dataclasses import dataclass
from datetime import date

from pricing.catalogue.domain import SurchargeWhen
from pricing.catalogue.selectors import rate_terms, tax_on
from pricing.estimates.calculation import CardAsk, card_ask
from pricing.estimates.domain.money import Totals, totals_of
from pricing.estimates.inputs import PlaceFacts, WantedLine
from shared.errors import Refused


@dataclass(frozen=True, slots=True)
class CardQuote:
    """What the card asks and what it comes to with tax; `tax_millionths` is None where no tax was entered.

    `driving_may_add`: the card has a surcharge for driving, and the drive to the place was not asked for.
    """

    ask: CardAsk
    totals: Totals
    tax_millionths: int | None
    driving_may_add: bool


def card_quote(*, wanted: WantedLine, place: PlaceFacts, on: date) -> CardQuote | None:
    """By the card in force on a day, with the surcharges that are known to apply, as an estimate reckons it; None where
    the card does not have the service or nobody knows how much there is to do."""
    try:
        ask = card_ask(wanted, place, rate_terms(on=on), drive_minutes=0)
    except Refused:
        return None
    tax = tax_on(on=on)
    return CardQuote(
        ask=ask,
        totals=totals_of([ask.price.total_cents], 0, tax),
        tax_millionths=tax,
        driving_may_add=any(each.when == SurchargeWhen.DRIVING for each in ask.rate.surcharges),
    )
