"""Prices that reach the target, least prices, discounts, tax: to the cent."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.estimates.domain.card import earned_cents_per_crew_hour
from pricing.estimates.domain.money import (
    LineCosts,
    PriceWhy,
    least_price,
    line_price,
    line_prices,
    price_at,
    tax_of,
    totals_of,
)

RATES = st.integers(1, 100_000)
MINUTES = st.integers(1, 3_000)


def test_a_price_at_the_target_by_hand() -> None:
    """140 minutes on site and 20 driven at $175 an hour: 160/60 x 175 = $466.67, the cent rounded up."""
    assert price_at(175_00, 160) == 466_67


@given(RATES, MINUTES)
def test_the_price_at_the_target_is_the_least_that_reaches_it(rate: int, minutes: int) -> None:
    """At the price the hour earns at least the target, exactly; a cent less does not."""
    price = price_at(rate, minutes)
    assert Fraction(price * 60, minutes) >= rate > Fraction((price - 1) * 60, minutes)
    earned = earned_cents_per_crew_hour(price_cents=price, on_site_minutes=minutes, drive_minutes=0)
    assert earned is not None
    assert earned >= rate


@given(RATES, MINUTES, st.integers(0, 50_000))
def test_the_least_price_pays_the_reserve_and_the_materials(reserve: int, minutes: int, materials: int) -> None:
    """What is left after the materials brings the reserve, and a cent less would not."""
    left = least_price(reserve, minutes, materials) - materials
    assert Fraction(left * 60, minutes) >= reserve > Fraction((left - 1) * 60, minutes)


@st.composite
def estimates(draw: st.DrawFn) -> tuple[list[LineCosts], list[list[int]], int, int, int]:
    lines = draw(
        st.lists(
            st.builds(LineCosts, MINUTES, st.integers(0, 20_000), st.none() | st.integers(0, 200_000)),
            min_size=1,
            max_size=5,
        )
    )
    some = st.lists(st.integers(0, len(lines) - 1), min_size=1, unique=True)
    options = draw(st.lists(some, min_size=1, max_size=4))
    target = draw(st.integers(1, 60_000))
    return lines, options, draw(st.integers(0, 240)), target, draw(st.integers(0, target))


@given(estimates())
def test_every_option_reaches_target_and_reserve_at_its_proposed_prices(
    case: tuple[list[LineCosts], list[list[int]], int, int, int],
) -> None:
    """Whichever lines an option leaves out, the whole driving is paid and the target reached."""
    lines, options, drive, target, reserve = case
    priced = line_prices(lines, options, drive_minutes=drive, target_cents=target, reserve_cents=reserve)
    for option in options:
        crew_minutes = sum(lines[k].minutes for k in option) + drive
        price = sum(priced[k].price_cents for k in option)
        assert price >= price_at(target, crew_minutes)
        assert price >= least_price(reserve, crew_minutes, sum(lines[k].materials_cents for k in option))
        assert all(priced[k].price_cents >= (lines[k].card_price_cents or 0) for k in option)
        assert price % 100 == 0


@pytest.mark.parametrize(
    ("card", "materials", "why", "price"),
    [(624_00, 28_80, PriceWhy.CARD, 624_00), (400_00, 28_80, PriceWhy.TARGET, 467_00),
     (None, 0, PriceWhy.TARGET, 467_00), (400_00, 250_00, PriceWhy.LEAST, 544_00)],
)  # fmt: skip
def test_what_decides_a_price(card: int | None, materials: int, why: PriceWhy, price: int) -> None:
    """The card, unless it misses the target or the reserve; then the hours decide, in whole dollars."""
    found = line_price(LineCosts(140, materials, card), Fraction(160), target_cents=175_00, reserve_cents=110_00)
    assert (found.why, found.price_cents) == (why, price)


@pytest.mark.parametrize(
    ("cents", "millionths", "tax"),
    [(100_00, 88_750, 8_88), (100_00, None, 0), (100_00, 0, 0), (50, 10_000, 1), (49, 10_000, 0),
     (624_00, 72_500, 4524)],
)  # fmt: skip
def test_tax_by_hand(cents: int, millionths: int | None, tax: int) -> None:
    """$100.00 at 8.875 % is $8.875, half a cent up; half a cent of tax is a cent, less is none."""
    assert tax_of(cents, millionths) == tax


@given(
    st.lists(st.integers(0, 1_000_000), min_size=1, max_size=8),
    st.floats(0, 1),
    st.none() | st.integers(0, 300_000),
)
def test_totals_add_up_to_the_cent(prices: list[int], share: float, millionths: int | None) -> None:
    """Lines less discount plus tax is the total; tax is within half a cent of exact and grows with the price."""
    discount = int(sum(prices) * share)
    totals = totals_of(prices, discount, millionths)
    assert totals.lines_cents == sum(prices)
    assert totals.before_tax_cents + totals.discount_cents == totals.lines_cents
    assert totals.total_cents == totals.before_tax_cents + totals.tax_cents
    exact = Fraction(totals.before_tax_cents * (millionths or 0), 1_000_000)
    assert abs(totals.tax_cents - exact) <= Fraction(1, 2)
    assert tax_of(totals.before_tax_cents + 100, millionths) >= totals.tax_cents


@pytest.mark.parametrize("wrong", [([100], 101), ([100], -1), ([-1, 5], 0)])
def test_discounts_have_limits(wrong: tuple[list[int], int]) -> None:
    """More than the whole price, less than nothing, or a price below nothing: refused."""
    with pytest.raises(ValueError, match="Expected"):
        totals_of(*wrong, None)
