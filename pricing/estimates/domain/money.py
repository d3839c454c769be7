"""What prices must be, and what they come to with discount and tax.

    price at a rate   = the least whole cents with  price x 60 >= rate x crew-minutes
    least price       = price at the reserve + materials: a day plan gains nothing from a job below it
    proposed price    = the largest of the card's price, the price at the target and the least price of the line,
                        rounded up to whole units of money

A line's crew-minutes are its own on site and its part of the driving, in the option in which that part is greatest:
so every option of an estimate reaches the target at the expected minutes, whichever lines it leaves out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from math import ceil

from shared.units import MINUTES_PER_HOUR, round_half_up

CENTS = 100
MILLIONTHS = 1_000_000


class PriceWhy(StrEnum):
    """What decided a line's price."""

    CARD = "card"
    TARGET = "target"
    LEAST = "least"
    OFFICE = "office"


@dataclass(frozen=True, slots=True)
class LineCosts:
    """A line before it is priced: expected minutes on site, materials, and what the card asks (None: not on it)."""

    minutes: int
    materials_cents: int
    card_price_cents: int | None


@dataclass(frozen=True, slots=True)
class LinePrice:
    """The prices that a line's hours ask for, and the one that is proposed."""

    target_price_cents: int
    least_price_cents: int
    price_cents: int
    why: PriceWhy


@dataclass(frozen=True, slots=True)
class Totals:
    """What an option comes to; the parts add up to the cent."""

    lines_cents: int
    discount_cents: int
    before_tax_cents: int
    tax_cents: int
    total_cents: int


def price_at(cents_per_crew_hour: int, crew_minutes: int | Fraction) -> int:
    """The least price in cents that brings `cents_per_crew_hour` over `crew_minutes` of a two-person crew."""
    if cents_per_crew_hour < 0 or crew_minutes < 0:
        raise ValueError("Expected a rate and minutes of 0 or more.")
    return ceil(Fraction(cents_per_crew_hour) * crew_minutes / MINUTES_PER_HOUR)


def least_price(reserve_cents_per_crew_hour: int, crew_minutes: int | Fraction, materials_cents: int) -> int:
    """What a job must bring for a crew to be sent at all: its hours at the reserve, and its materials."""
    return price_at(reserve_cents_per_crew_hour, crew_minutes) + materials_cents


def drive_parts(minutes: Sequence[int], options: Sequence[Sequence[int]], drive_minutes: int) -> list[Fraction]:
    """Each line's part of the driving in the option where it is greatest; `options` hold positions of lines.

    Driving is shared over the lines of an option by their minutes. A line in no option bears all of it.
    """
    return [
        max(
            (Fraction(minutes[line] * drive_minutes, _whole(minutes, option)) for option in options if line in option),
            default=Fraction(drive_minutes),
        )
        for line in range(len(minutes))
    ]


def _whole(minutes: Sequence[int], option: Sequence[int]) -> int:
    return max(1, sum(minutes[line] for line in option))


def line_price(costs: LineCosts, crew_minutes: Fraction, *, target_cents: int, reserve_cents: int) -> LinePrice:
    """The prices of one line; `target_cents` and `reserve_cents` are per crew-hour."""
    target = price_at(target_cents, crew_minutes)
    least = least_price(reserve_cents, crew_minutes, costs.materials_cents)
    asked = {PriceWhy.CARD: costs.card_price_cents or 0, PriceWhy.TARGET: target, PriceWhy.LEAST: least}
    why = max(asked, key=lambda reason: asked[reason])  # of equal ones the first
    return LinePrice(target, least, whole_units_up(asked[why]), why)


def line_prices(
    lines: Sequence[LineCosts],
    options: Sequence[Sequence[int]],
    *,
    drive_minutes: int,
    target_cents: int,
    reserve_cents: int,
) -> list[LinePrice]:
    """The prices of all lines of an estimate, in their order."""
    parts = drive_parts([line.minutes for line in lines], options, drive_minutes)
    return [
        line_price(line, line.minutes + part, target_cents=target_cents, reserve_cents=reserve_cents)
        for line, part in zip(lines, parts, strict=True)
    ]


def whole_units_up(cents: int) -> int:
    """Up to the next whole dollar (or whatever a hundred of the smallest coin are called)."""
    return -(-cents // CENTS) * CENTS


def tax_of(cents: int, tax_millionths: int | None) -> int:
    """Tax on an amount, halves of a cent up. A rate of 88,750 millionths is 8.875 %; None: no rate was entered."""
    return round_half_up(Fraction(cents * (tax_millionths or 0), MILLIONTHS))


def totals_of(lines_cents: Sequence[int], discount_cents: int, tax_millionths: int | None) -> Totals:
    """Lines, discount and tax of one option; tax is taken once, on the sum after the discount.

    Raises ValueError for a price below nothing and a discount that is not between nothing and the whole price.
    """
    lines = sum(lines_cents)
    if any(price < 0 for price in lines_cents):
        raise ValueError("Expected prices of 0 or more.")
    if not 0 <= discount_cents <= lines:
        raise ValueError(f"Expected a discount from 0 to {lines}, got {discount_cents}.")
    before_tax = lines - discount_cents
    tax = tax_of(before_tax, tax_millionths)
    return Totals(lines, discount_cents, before_tax, tax, before_tax + tax)
