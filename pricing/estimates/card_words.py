"""How a card's price and materials for a line come about, in sentences."""

from django.utils.translation import gettext as _

from pricing.catalogue.domain import RateTerms, SurchargeKind, SurchargeTerms
from pricing.estimates.domain.card import CardPrice
from shared.company.selectors import company_get
from shared.web.words import money_words, volume_words


def card_words(rate: RateTerms, quantity: int, price: CardPrice, materials_cents: int) -> tuple[str, ...]:
    """The price by quantity or the least charge, each surcharge, the materials; one sentence each."""
    currency = company_get().currency
    surcharges = [_surcharge(surcharge, cents, currency) for surcharge, cents in price.surcharges]
    return (_base(rate, quantity, price, currency), *surcharges, _materials(rate, quantity, materials_cents, currency))


def _base(rate: RateTerms, quantity: int, price: CardPrice, currency: str) -> str:
    words = _("Card price: %(quantity)s at %(price)s per 100 is %(sum)s.") % {
        "quantity": f"{quantity:,}",
        "price": money_words(rate.price_cents_per_100_units, currency),
        "sum": money_words(price.by_quantity_cents, currency),
    }
    if price.base_cents == price.by_quantity_cents:
        return words
    least = _("The least charge of %(least)s counts.") % {"least": money_words(price.minimum_price_cents, currency)}
    return f"{words} {least}"


def _surcharge(surcharge: SurchargeTerms, cents: int, currency: str) -> str:
    words = {"name": surcharge.name, "sum": money_words(cents, currency), "percent": surcharge.figure}
    if surcharge.kind == SurchargeKind.PERCENT:
        return _("Surcharge %(name)s, %(percent)s%%: %(sum)s.") % words
    return _("Surcharge %(name)s: %(sum)s.") % words


def _materials(rate: RateTerms, quantity: int, cents: int, currency: str) -> str:
    used = ", ".join(
        f"{each.name} {volume_words(each.volume_ml_per_100_units * quantity // 100)}" for each in rate.materials
    )
    if not used:
        return _("Materials: %(sum)s.") % {"sum": money_words(cents, currency)}
    return _("Materials: %(used)s and small things, %(sum)s.") % {"used": used, "sum": money_words(cents, currency)}
