"""Minutes from the rate card alone: the card is the mean, the spread is wide, the parts multiply to the whole."""

from dataclasses import replace
from math import prod

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.catalogue.domain import Access, FactorKind, MinutesFactor, RateTerms, Soil
from pricing.minutes.domain.card import card_minutes
from pricing.minutes.domain.features import JobFeatures, Season, season_of
from pricing.minutes.domain.forecast import expected_minutes

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
    factors=(
        MinutesFactor(FactorKind.STOREYS, "3", 130),
        MinutesFactor(FactorKind.ACCESS, "tight", 125),
        MinutesFactor(FactorKind.SOIL, "heavy", 120),
        MinutesFactor(FactorKind.CHALK, "3", 110),
        MinutesFactor(FactorKind.MATERIAL, "brick", 115),
    ),
)
PLAIN = JobFeatures("house_wash", 2400)

features = st.builds(
    JobFeatures,
    service_code=st.just("house_wash"),
    quantity=st.integers(1, 20_000),
    storeys=st.integers(1, 4),
    access=st.sampled_from(Access),
    soil=st.sampled_from(Soil),
    chalk_reading=st.none() | st.sampled_from([0.0, 2.5, 3.0, 5.0]),
    material=st.sampled_from(["", "vinyl", "brick"]),
    crew_code=st.sampled_from(["", "heron"]),
    season=st.none() | st.sampled_from(Season),
)


@pytest.mark.parametrize(
    ("change", "minutes"),
    [
        ({}, 20 + 90),  # 2,400 sq ft at 1,600 an hour
        ({"storeys": 2}, 20 + 120),
        ({"storeys": 3}, 20 + 156),  # 120 x 1.3
        ({"access": Access.TIGHT}, 20 + 112.5),
        ({"access": Access.EASY}, 20 + 90),  # the card says nothing of it
        ({"soil": Soil.HEAVY, "material": "brick"}, 20 + 90 * 1.2 * 1.15),
        ({"chalk_reading": 2.5}, 20 + 90 * 1.1),  # counts as 3
        ({"chalk_reading": 2.0}, 20 + 90),
    ],
)
def test_the_card_worked_by_hand(change, minutes):
    """The set-up is the same for all; every factor slows the work alone."""
    assert card_minutes(WASH, replace(PLAIN, **change)) == pytest.approx(minutes)


def test_without_history_the_card_is_the_mean():
    """The spread is skewed, so the median lies below the mean and the quantiles in order above it."""
    forecast = expected_minutes(replace(PLAIN, storeys=2), WASH)
    assert forecast.mean_minutes == 140
    assert forecast.median_minutes < 140 < forecast.q80_minutes < forecast.q90_minutes
    assert (forecast.based_on_jobs, forecast.service_jobs) == (0, 0)


def test_the_reasons_name_what_the_card_says():
    """A job on two storeys with tight access: (20 + 120) / 110 = +27 %, then (20 + 150) / 140 = +21 %."""
    forecast = expected_minutes(replace(PLAIN, storeys=2, access=Access.TIGHT), WASH)
    assert [(e.factor, e.level, e.percent) for e in forecast.effects] == [("storeys", "2", 27), ("access", "tight", 21)]


@given(features)
def test_reasons_multiply_to_the_mean(job):
    """From the plainest job of the same size; each part is rounded to whole percents."""
    forecast = expected_minutes(job, WASH)
    plain = expected_minutes(JobFeatures("house_wash", job.quantity), WASH).mean
    parts = prod(1 + effect.percent / 100 for effect in forecast.effects)
    assert parts == pytest.approx(forecast.mean / plain, rel=0.04)


@given(features, st.floats(0.02, 0.98))
def test_chance_and_quantile_are_each_others_inverse(job, share):
    """Also: more certainty never costs fewer minutes."""
    forecast = expected_minutes(job, WASH)
    assert forecast.chance_within(forecast.quantile(share)) == pytest.approx(share, abs=1e-9)
    assert forecast.quantile(share) < forecast.quantile(share + 0.01)
    assert forecast.chance_within(0) == 0


def test_what_is_not_known_widens_the_spread():
    """An open crew and season count as a draw from all of them, here as from crews nobody has seen."""
    assert expected_minutes(PLAIN, WASH).scale == expected_minutes(replace(PLAIN, crew_code="x"), WASH).scale


@pytest.mark.parametrize(
    ("month", "season"), [(1, "winter"), (3, "spring"), (8, "summer"), (11, "autumn"), (12, "winter")]
)
def test_seasons(month, season):
    """Quarters begin in December, March, June and September."""
    assert season_of(month) == season


@pytest.mark.parametrize("wrong", [{"quantity": 0}, {"storeys": 0}, {"storeys": 5}, {"chalk_reading": 5.5}])
def test_features_that_cannot_be(wrong):
    """The bound and the value are named."""
    with pytest.raises(ValueError, match="Expected"):
        replace(PLAIN, **wrong)
    with pytest.raises(ValueError, match="month"):
        season_of(13)
    with pytest.raises(ValueError, match="share"):
        expected_minutes(PLAIN, WASH).quantile(1.0)
