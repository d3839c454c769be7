"""Wages booked visit by visit; miles by year."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.earnings.domain.wages import mileage_cents, wage_cents, week_pay_cents


@given(st.lists(st.integers(0, 700), min_size=1, max_size=12), st.integers(1, 6_000).map(lambda dollar: 60 * dollar))
def test_visits_of_a_week_add_up_to_the_pay_of_the_week(visits, cents_per_hour):
    """With a wage of whole cents a minute, booked visits and the weekly rule agree but for halves of a cent."""
    before, booked = 0, 0
    for minutes in visits:
        booked += wage_cents(
            worked_minutes=minutes,
            cents_per_hour=cents_per_hour,
            burden_percent=0,
            minutes_before_in_week=before,
        )
        before += minutes
    week = week_pay_cents(straight_cents=cents_per_hour // 60 * before, worked_minutes=before)
    assert abs(booked - week) <= len(visits)


def test_burden_is_on_top_of_the_overtime_too():
    """One hour past the 40th at $20 is $30, with 10 % burden $33."""
    assert wage_cents(worked_minutes=60, cents_per_hour=2000, burden_percent=10, minutes_before_in_week=2400) == 33_00


def test_pay_without_time_is_an_error():
    """No regular rate without hours; no pay for no hours."""
    assert week_pay_cents(straight_cents=0, worked_minutes=0) == 0
    with pytest.raises(ValueError, match="worked minutes"):
        week_pay_cents(straight_cents=100, worked_minutes=0)


@pytest.mark.parametrize(("year", "cents"), [(2020, 670), (2024, 670), (2025, 700), (2026, 725), (2031, 725)])
def test_years_without_a_rate_take_the_nearest(year, cents):
    """Ten miles; before the first known year its rate, after the last the last."""
    assert mileage_cents(drive_metres=16_093, on=date(year, 6, 1)) == cents
