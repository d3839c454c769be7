"""The ratio, its interval and the test that the interval inverts."""

from math import sqrt

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pricing.earnings.domain.ratio import Moments, ratio_estimate, t_quantile, two_sided_p

jobs = st.lists(
    st.tuples(st.integers(20, 900), st.integers(0, 300_000)).map(lambda p: (float(p[0]), float(p[1]))),
    min_size=2,
    max_size=40,
)


def history(n, seed):
    """A seeded history of skewed jobs: crew-minutes and cents."""
    rng = np.random.default_rng(seed)
    area = rng.lognormal(np.log(2000), 0.35, n)
    minutes = 20 + area / 25 * rng.lognormal(0, 0.35, n) + rng.lognormal(np.log(18), 0.6, n)
    cents = np.maximum(25_000, area * 26 * rng.lognormal(0, 0.12, n))
    return minutes, cents


def test_a_history_worked_by_hand():
    """Three jobs of 1, 2 and 3 hours for $150, $250 and $500: $900 in 6 hours is $150 an hour.

    Means 2 and 300; Sxx = 1, Sxy = 175, Syy = 32,500. t(0.95, 2) = 2.919986, so t^2/n = 2.842105.
    a = 4 - 2.842105 = 1.157895; b = 600 - 497.368 = 102.632; c = 90,000 - 92,368.4 = -2,368.4.
    Roots (102.632 -+ sqrt(10,533.2 + 2,742.4)) / 1.157895 = 88.637 -+ 99.507.
    """
    estimate = ratio_estimate(Moments.of([(1, 150), (2, 250), (3, 500)]))
    assert estimate.value == 150
    assert estimate.low == pytest.approx(88.637 - 99.507, abs=0.01)
    assert estimate.high == pytest.approx(88.637 + 99.507, abs=0.01)


def test_one_job_has_a_ratio_but_no_interval():
    """n = 1 says nothing of the spread."""
    estimate = ratio_estimate(Moments.of([(2, 300)]))
    assert (estimate.value, estimate.low, estimate.high) == (150, None, None)


def test_no_time_no_estimate():
    """Nothing booked, or only a refund: there is no hour to divide by."""
    assert ratio_estimate(Moments.of([])) is None
    assert ratio_estimate(Moments.of([(0, -500), (0, 0)])) is None


def test_hours_too_uncertain_to_divide_by_have_no_interval():
    """Two jobs of 1 and 100 hours: any ratio is possible."""
    estimate = ratio_estimate(Moments.of([(1, 100), (100, 5000)]))
    assert estimate.low is None
    assert estimate.high is None


def test_equal_jobs_are_certain():
    """No spread: the interval closes on the ratio, the test is sure both ways."""
    moments = Moments.of([(2, 300)] * 5)
    estimate = ratio_estimate(moments)
    assert estimate.low == pytest.approx(150)
    assert estimate.high == pytest.approx(150)
    assert two_sided_p(moments, 150) == 1.0
    assert two_sided_p(moments, 149) == 0.0


@given(jobs)
def test_the_interval_holds_the_ratio_and_agrees_with_the_test(pairs):
    """low <= ratio <= high; at either end the test's p value is one minus the confidence."""
    moments = Moments.of(pairs)
    estimate = ratio_estimate(moments)
    assume(estimate.low is not None)
    assume(estimate.high - estimate.low > 1e-3 * max(1, estimate.value))
    assert estimate.low <= estimate.value <= estimate.high
    assert two_sided_p(moments, estimate.low) == pytest.approx(0.10, abs=1e-3)
    assert two_sided_p(moments, estimate.high) == pytest.approx(0.10, abs=1e-3)


@given(jobs, st.floats(0.1, 10), st.floats(0.1, 10))
def test_units_do_not_matter(pairs, hours_unit, money_unit):
    """Crew-minutes or crew-hours, cents or dollars: the same answer in other words."""
    plain = ratio_estimate(Moments.of(pairs))
    scaled = ratio_estimate(Moments.of([(x * hours_unit, y * money_unit) for x, y in pairs]))
    assume(plain.low is not None)
    assume(scaled.low is not None)
    assume(abs(plain.high - plain.low) < 1e6)
    scale = money_unit / hours_unit
    spread = max(1.0, abs(plain.high), abs(plain.low)) * scale
    assert scaled.value == pytest.approx(plain.value * scale)
    assert scaled.low == pytest.approx(plain.low * scale, rel=1e-3, abs=1e-3 * spread)
    assert scaled.high == pytest.approx(plain.high * scale, rel=1e-3, abs=1e-3 * spread)


@pytest.mark.parametrize(("n", "seed"), [(60, 1), (150, 2), (400, 3)])
def test_the_interval_agrees_with_a_bootstrap(n, seed):
    """Percentiles of 4,000 resampled ratios (Efron 1979) lie within a tenth of the width of ours."""
    minutes, cents = history(n, seed)
    rng = np.random.default_rng(seed + 100)
    draws = rng.integers(0, n, (4000, n))
    resampled = cents[draws].sum(axis=1) / minutes[draws].sum(axis=1)
    low, high = np.quantile(resampled, [0.05, 0.95])
    estimate = ratio_estimate(Moments.of(list(zip(minutes.tolist(), cents.tolist(), strict=True))))
    tolerance = 0.10 * (high - low)
    assert estimate.low == pytest.approx(low, abs=tolerance)
    assert estimate.high == pytest.approx(high, abs=tolerance)


def test_the_interval_covers_as_often_as_it_says():
    """Of 2,000 seeded histories of 12 skewed jobs, 88 to 92 % of the 90 % intervals hold the true ratio."""
    minutes, cents = history(1_000_000, 11)
    truth = cents.sum() / minutes.sum()
    minutes, cents = history(2_000 * 12, 12)
    covered = 0
    for x, y in zip(minutes.reshape(-1, 12).tolist(), cents.reshape(-1, 12).tolist(), strict=True):
        estimate = ratio_estimate(Moments.of(list(zip(x, y, strict=True))))
        covered += estimate.low is not None and estimate.low <= truth <= estimate.high
    assert 0.88 <= covered / 2_000 <= 0.92


def test_many_jobs_meet_the_textbook_formula():
    """With 5,000 jobs Fieller's ends equal r -+ t s(d) / (sqrt(n) mean x) (Cochran 1977, eq. 6.13)."""
    minutes, cents = history(5_000, 21)
    estimate = ratio_estimate(Moments.of(list(zip(minutes.tolist(), cents.tolist(), strict=True))))
    d = cents - estimate.value * minutes
    half = t_quantile(0.95, 4_999) * d.std(ddof=1) / sqrt(5_000) / minutes.mean()
    assert estimate.low == pytest.approx(estimate.value - half, rel=2e-3)
    assert estimate.high == pytest.approx(estimate.value + half, rel=2e-3)
