"""What reaches the target, and what the hours would earn elsewhere."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.earnings.domain.ratio import Moments, ratio_estimate, t_quantile
from pricing.earnings.domain.remedy import Range, remedy

TARGET = 300.0  # cents a crew-minute: $180 a crew-hour
JOBS = st.lists(st.tuples(st.integers(1, 900), st.integers(1, 300_000)), min_size=1, max_size=20)


def cure_of(pairs, others=()):
    moments = Moments.of([(float(x), float(y)) for x, y in pairs])
    return remedy(moments, TARGET, ratio_estimate(moments), Moments.of([(float(x), float(y)) for x, y in others]))


def test_a_remedy_by_hand():
    """Four jobs, 10 hours, $1,500 against $180: short by $300, so +20 % or $75 a job, or 25 minutes a job."""
    cure = cure_of([(150, 37_500)] * 4)
    assert cure.price_rise_percent.value == pytest.approx(20)
    assert cure.price_rise_cents_per_job == Range(7_500, 7_500, 7_500)
    assert cure.crew_minutes_saved_per_job.value == pytest.approx(25)
    assert cure.elsewhere_cents is None


@given(JOBS)
def test_either_remedy_reaches_the_target(pairs):
    """With the dearer prices, or with the saved minutes, the ratio is the target."""
    moments = Moments.of([(float(x), float(y)) for x, y in pairs])
    cure = remedy(moments, TARGET, ratio_estimate(moments))
    dearer = moments.sum_y * (1 + cure.price_rise_percent.value / 100)
    assert dearer / moments.sum_x == pytest.approx(TARGET)
    hours_left = moments.sum_x - moments.n * cure.crew_minutes_saved_per_job.value
    assert moments.sum_y / hours_left == pytest.approx(TARGET)


@given(JOBS)
def test_the_interval_of_the_rise_is_that_of_the_hourly_figure(pairs):
    """Prices raised by either end would reach the target if the true figure were the other end of its interval."""
    moments = Moments.of([(float(x), float(y)) for x, y in pairs])
    earned, rise = ratio_estimate(moments), cure_of(pairs).price_rise_percent
    if rise.low is None:
        assert earned.low is None or earned.low <= 0
    else:
        assert earned.high * (1 + rise.low / 100) == pytest.approx(TARGET)
        assert earned.low * (1 + rise.high / 100) == pytest.approx(TARGET)


def test_the_interval_a_job_is_the_t_interval_of_a_mean():
    """Shortfalls of 100, 200 and 300 dollars: mean 200, s 100, 200 -+ t(0.95, 2) x 100 / sqrt(3)."""
    cure = cure_of([(100, 20_000), (100, 10_000), (100, 0)])
    half = t_quantile(0.95, 2) * 10_000 / 3**0.5
    assert cure.price_rise_cents_per_job.value == pytest.approx(20_000)
    assert cure.price_rise_cents_per_job.low == pytest.approx(20_000 - half)
    assert cure.crew_minutes_saved_per_job.high == pytest.approx((20_000 + half) / TARGET)


def test_nothing_earned_has_no_rise_in_percent():
    """No percentage raises nothing to the target; the money a job is known all the same."""
    cure = cure_of([(60, 0)] * 9)
    assert cure.price_rise_percent is None
    assert cure.price_rise_cents_per_job.value == pytest.approx(18_000)


def test_hours_elsewhere_by_hand():
    """Ten hours at $150 where all other work brings $200: $500 more."""
    cure = cure_of([(150, 37_500)] * 4, others=[(60, 20_000)] * 6)
    assert cure.elsewhere_cents.value == pytest.approx(500_00)
    assert cure.elsewhere_cents.low == pytest.approx(500_00)


def test_one_job_has_no_intervals():
    """Nothing is known of the spread."""
    cure = cure_of([(150, 37_500)], others=[(60, 20_000)] * 6)
    assert [cure.price_rise_percent.low, cure.price_rise_cents_per_job.high, cure.elsewhere_cents.low] == [None] * 3


def test_the_intervals_hold_the_truth_nine_times_in_ten():
    """Of 600 seeded histories of 20 jobs, 87 to 93 % of the intervals hold what follows from the true ratio."""
    rng = np.random.default_rng(11)
    held = {"percent": 0, "minutes": 0, "elsewhere": 0}
    for _ in range(600):
        x = rng.lognormal(np.log(120), 0.4, 20)
        y = x * 240 * (1 + 0.25 * rng.standard_normal(20))
        other_x = rng.lognormal(np.log(120), 0.4, 60)
        other_y = other_x * 330 * (1 + 0.25 * rng.standard_normal(60))
        cure = cure_of(list(zip(x, y, strict=True)), list(zip(other_x, other_y, strict=True)))
        mean_x = 120 * np.exp(0.08)
        held["percent"] += cure.price_rise_percent.low <= 25 <= cure.price_rise_percent.high
        saved = cure.crew_minutes_saved_per_job
        held["minutes"] += saved.low <= mean_x * 60 / TARGET <= saved.high
        gain = x.sum() * (330 - 240)
        held["elsewhere"] += cure.elsewhere_cents.low <= gain <= cure.elsewhere_cents.high
    assert all(0.87 <= count / 600 <= 0.93 for count in held.values()), held
