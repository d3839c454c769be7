"""Minutes, price and materials of a job line; what an estimate earns an hour."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.catalogue.domain import RateTerms
from pricing.estimates.domain import (
    card_cents_per_crew_hour,
    earned_cents_per_crew_hour,
    line_estimate,
    line_materials_cents,
    line_minutes,
    line_price_cents,
    prices_after_discount,
)

WASH = RateTerms(
    service_code="house_wash",
    service_name="House wash",
    unit="wall_sqft",
    price_cents_per_100_units=26_00,
    minimum_price_cents=250_00,
    materials_cents_per_100_units=1_20,
    setup_minutes=20,
    units_per_crew_hour=1600,
    units_per_crew_hour_high=1200,
)


def test_a_house_wash_worked_by_hand():
    """2,400 sq ft, two storeys: 20 + 2,400/1,200 h = 140 minutes; $624; materials $28.80."""
    line = line_estimate(WASH, 2400, 2)
    assert (line.minutes, line.price_cents, line.materials_cents) == (140, 624_00, 28_80)


@pytest.mark.parametrize(("storeys", "minutes"), [(1, 110), (2, 140), (3, 140)])
def test_height_slows_the_work(storeys, minutes):
    """One storey at 1,600 sq ft an hour, two or more at 1,200."""
    assert line_minutes(WASH, 2400, storeys) == minutes


@pytest.mark.parametrize(("quantity", "price"), [(1, 250_00), (961, 250_00), (962, 250_12), (1000, 260_00)])
def test_small_jobs_pay_the_least_charge(quantity, price):
    """The least charge holds up to 961 sq ft; from there on the quantity decides."""
    assert line_price_cents(WASH, quantity) == price


@pytest.mark.parametrize("wrong", [{"quantity": 0}, {"quantity": -5}, {"storeys": 0}])
def test_nothing_to_wash_is_an_error(wrong):
    """A quantity or a height below 1 is a mistake of the caller."""
    with pytest.raises(ValueError, match="Expected"):
        line_minutes(WASH, **{"quantity": 100, "storeys": 1, **wrong})


def test_an_estimate_counts_its_driving():
    """$624 for 140 minutes on site and 20 of driving is $234 an hour; three workers make it $156."""
    line = line_estimate(WASH, 2400, 2)
    time = {"on_site_minutes": line.minutes, "drive_minutes": 20}
    assert earned_cents_per_crew_hour(price_cents=line.price_cents, **time) == 234_00
    assert earned_cents_per_crew_hour(price_cents=line.price_cents, **time, workers=3) == 156_00
    assert earned_cents_per_crew_hour(price_cents=100, on_site_minutes=0, drive_minutes=0) is None


@given(st.integers(1, 100_000), st.integers(1, 4))
def test_more_to_wash_never_costs_or_takes_less(quantity, storeys):
    """Minutes, price and materials grow with the quantity, and minutes with the height."""
    small, large = line_estimate(WASH, quantity, storeys), line_estimate(WASH, quantity + 100, storeys)
    assert small.minutes <= large.minutes
    assert small.price_cents <= large.price_cents
    assert small.materials_cents <= large.materials_cents
    assert line_minutes(WASH, quantity, 1) <= small.minutes


@given(st.integers(1, 100_000), st.integers(0, 50_000), st.integers(0, 50_000))
def test_prices_are_whole_cents_within_half_a_cent(quantity, per_100, least):
    """The price is the exact product rounded once, or the least charge."""
    rate = replace(WASH, price_cents_per_100_units=per_100, minimum_price_cents=least)
    price = line_price_cents(rate, quantity)
    assert price >= least
    assert price == least or abs(100 * price - per_100 * quantity) <= 50


@given(st.integers(1, 100_000), st.integers(0, 50_000))
def test_materials_follow_the_quantity(quantity, per_100):
    """Within half a cent of the exact product."""
    rate = replace(WASH, materials_cents_per_100_units=per_100)
    assert abs(100 * line_materials_cents(rate, quantity) - per_100 * quantity) <= 50


def test_an_hour_of_work_at_the_cards_price():
    """1,600 sq ft at 26 cents are $416, 1,200 are $312."""
    assert card_cents_per_crew_hour(WASH, 1) == 416_00
    assert card_cents_per_crew_hour(WASH, 2) == card_cents_per_crew_hour(WASH, 3) == 312_00


@given(st.integers(1, 100_000), st.integers(1, 3), st.integers(0, 300))
def test_no_estimate_above_its_least_charge_earns_more_than_the_work_alone(quantity, storeys, drive):
    """Set-up and driving only take away; half a minute of rounding is all that may be gained."""
    line = line_estimate(replace(WASH, minimum_price_cents=0), quantity, storeys)
    earned = earned_cents_per_crew_hour(price_cents=line.price_cents, on_site_minutes=line.minutes, drive_minutes=drive)
    assert earned <= card_cents_per_crew_hour(WASH, storeys)


@given(st.lists(st.integers(0, 10**7), min_size=1, max_size=12), st.data())
def test_a_discount_is_shared_to_the_cent(prices, data):
    """What the lines bring after the discount is their sum less the discount, and none goes below nothing."""
    discount = data.draw(st.integers(0, sum(prices)))
    after = prices_after_discount(prices, discount)
    assert sum(after) == sum(prices) - discount
    assert all(price >= 0 for price in after)
