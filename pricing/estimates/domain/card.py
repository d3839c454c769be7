"""Minutes, price and materials of a job line from the rate card, and what the whole estimate earns an hour."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from pricing.catalogue.domain import Circumstances, FactorKind, RateTerms, SurchargeKind, SurchargeTerms
from shared.units import MINUTES_PER_HOUR, cents_for_volume, crew_minutes, ratio_half_up, round_half_up, share_out

PRICED_UNITS = 100  # a rate card's prices are per 100 of the service's unit
PERCENT = 100


@dataclass(frozen=True, slots=True)
class CardPrice:
    """What the card asks for a line, in its parts: the quantity at its price, the least charge, each surcharge."""

    by_quantity_cents: int
    minimum_price_cents: int
    surcharges: tuple[tuple[SurchargeTerms, int], ...] = ()

    @property
    def base_cents(self) -> int:
        return max(self.by_quantity_cents, self.minimum_price_cents)

    @property
    def total_cents(self) -> int:
        return self.base_cents + sum(cents for _surcharge, cents in self.surcharges)


@dataclass(frozen=True, slots=True)
class LineEstimate:
    """One service as estimated: minutes on site of a two-person crew, set-up included."""

    minutes: int
    price_cents: int
    materials_cents: int


def line_estimate(rate: RateTerms, quantity: int, storeys: int) -> LineEstimate:
    """Minutes, price and materials of ``quantity`` units (>= 1) on a property of ``storeys`` (>= 1)."""
    return LineEstimate(
        minutes=line_minutes(rate, quantity, storeys),
        price_cents=card_price(rate, quantity, Circumstances(storeys=storeys)).total_cents,
        materials_cents=line_materials_cents(rate, quantity),
    )


def line_minutes(rate: RateTerms, quantity: int, storeys: int) -> int:
    """Minutes on site of a two-person crew: set-up, and the work at the card's rate and factor for the storeys.

    Raises ``ValueError`` for a quantity or storeys below 1.
    """
    _require_positive(quantity, "quantity")
    _require_positive(storeys, "storeys")
    factor = rate.factor_percent(FactorKind.STOREYS, str(storeys))
    work = ratio_half_up(quantity * MINUTES_PER_HOUR * factor, _units_per_hour(rate, storeys) * PERCENT)
    return rate.setup_minutes + work


def line_price_cents(rate: RateTerms, quantity: int) -> int:
    """Price before tax and surcharges: the card's price for the quantity, at least its minimum charge."""
    return max(_price_by_quantity(rate, quantity), rate.minimum_price_cents)


def card_price(rate: RateTerms, quantity: int, job: Circumstances, *, is_addition: bool = False) -> CardPrice:
    """What the card asks for a line before tax, with the surcharges that the job meets.

    A percentage is of the price before surcharges, so their order does not matter. An addition goes only with another
    line: it has no least charge, and amounts are charged on the other line.
    """
    least = 0 if is_addition else rate.minimum_price_cents
    price = CardPrice(_price_by_quantity(rate, quantity), least)
    met = [each for each in rate.surcharges if each.applies(job)]
    if is_addition:
        met = [each for each in met if each.kind == SurchargeKind.PERCENT]
    if not met:
        return price
    return replace(price, surcharges=tuple((each, _surcharge_cents(each, price.base_cents)) for each in met))


def _surcharge_cents(surcharge: SurchargeTerms, base_cents: int) -> int:
    if surcharge.kind == SurchargeKind.FIXED:
        return surcharge.figure
    return round_half_up(Fraction(base_cents * surcharge.figure, PERCENT))


def _price_by_quantity(rate: RateTerms, quantity: int) -> int:
    _require_positive(quantity, "quantity")
    return ratio_half_up(rate.price_cents_per_100_units * quantity, PRICED_UNITS)


def line_materials_cents(rate: RateTerms, quantity: int) -> int:
    """Cost of what is used up, in proportion to the quantity: the materials that are listed and the rest."""
    _require_positive(quantity, "quantity")
    listed = [cents_for_volume(each.cost_cents_per_gallon, each.volume_ml_per_100_units) for each in rate.materials]
    return round_half_up((rate.materials_cents_per_100_units + sum(listed)) * Fraction(quantity, PRICED_UNITS))


def prices_after_discount(prices_cents: Sequence[int], discount_cents: int) -> list[int]:
    """Spread a job's discount over its lines in proportion to their prices; the parts add up to the cent."""
    shares = share_out(discount_cents, list(prices_cents))
    return [price - share for price, share in zip(prices_cents, shares, strict=True)]


def earned_cents_per_crew_hour(
    *, price_cents: int, on_site_minutes: int, drive_minutes: int, setup_minutes: int = 0, workers: int = 2
) -> int | None:
    """Price over crew-hours, all time of ``workers`` converted to a two-person crew; None for no time at all."""
    time = crew_minutes(on_site_minutes + drive_minutes + setup_minutes, workers)
    return round_half_up(price_cents * MINUTES_PER_HOUR / time) if time > 0 else None


def card_cents_per_crew_hour(rate: RateTerms, storeys: int) -> int:
    """What an hour of nothing but the work itself brings at the card's price: no set-up, no driving.

    The most that the card can earn on a large job; a service whose figure is below the hourly target cannot
    reach it unless its least charge does.
    """
    _require_positive(storeys, "storeys")
    return round_half_up(Fraction(rate.price_cents_per_100_units * _units_per_hour(rate, storeys), PRICED_UNITS))


def _units_per_hour(rate: RateTerms, storeys: int) -> int:
    return rate.units_per_crew_hour if storeys == 1 else rate.units_per_crew_hour_high


def _require_positive(number: int, name: str) -> None:
    if number < 1:
        raise ValueError(f"Expected {name} >= 1, got {number}.")
