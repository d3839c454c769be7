"""Rounding, conversions and fair shares."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import units


@pytest.mark.parametrize(
    ("value", "rounded"),
    [(0.5, 1), (-0.5, -1), (1.4999, 1), (2.5, 3), (-2.5, -3), (0, 0), (Fraction(27115, 10), 2712), (7, 7)],
)
def test_halves_go_away_from_zero(value: float, rounded: int) -> None:
    """Commercial rounding, the same for positive and negative amounts."""
    assert units.round_half_up(value) == rounded


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_refused(value: float) -> None:
    """Nothing is made of NaN or infinity."""
    with pytest.raises(ValueError, match="finite"):
        units.round_half_up(value)


@given(st.fractions(min_value=-(10**9), max_value=10**9))
def test_rounding_is_nearest(value: Fraction) -> None:
    """Never further than one half away."""
    assert abs(units.round_half_up(value) - value) <= Fraction(1, 2)


@given(st.integers(0, 10**6), st.lists(st.integers(0, 1000), min_size=1, max_size=30))
def test_shares_add_up_and_are_fair(total: int, weights: list[int]) -> None:
    """The parts make the whole, and each is within one of its exact quota."""
    parts = units.share_out(total, weights)
    assert sum(parts) == total
    whole = sum(weights)
    quotas = [Fraction(total * w, whole) if whole else Fraction(total, len(weights)) for w in weights]
    assert all(abs(part - quota) < 1 for part, quota in zip(parts, quotas, strict=True))


def test_shares_by_hand() -> None:
    """10 among 1:1:1: quotas 3.33 each; the one left over goes to the earliest."""
    assert units.share_out(10, [1, 1, 1]) == [4, 3, 3]
    assert units.share_out(5, [0, 0]) == [3, 2]
    assert units.share_out(5, []) == []
    with pytest.raises(ValueError, match="negative"):
        units.share_out(5, [1, -1])


def test_conversions_by_published_factors() -> None:
    """1 mi = 1609.344 m, 1 ft = 0.3048 m, 1 US gal = 3.785411784 l (NIST Special Publication 811, appendix B)."""
    assert units.metres_to_miles(16093.44) == pytest.approx(10)
    assert units.sqft_from_square_metres(100) == 1076
    assert units.feet_from_metres(30.48) == 100
    assert units.ml_from_us_gallons(2) == 7571


def test_crew_minutes_count_workers() -> None:
    """Sixty minutes of three workers are ninety minutes of a two-person crew."""
    assert units.crew_minutes(60, 3) == 90
    assert units.cents_per_minute(4_830) == 81
    assert units.cents_for_metres(45, 33_000) == 1_485


@given(st.integers(0, 1_000_000))
def test_fluid_ounces_lead_back_to_the_same_volume(volume_ml: int) -> None:
    """A hundredth of a fluid ounce (29.5735 ml, NIST Special Publication 811) is less than half a millilitre."""
    assert units.ml_from_fluid_ounces(units.fluid_ounces_from_ml(volume_ml)) == volume_ml
