"""Pay, miles and intervals against published worked examples; each test names its source.

The overtime examples are those of the present edition of 29 CFR part 778 (since 2011); older prints work the
same cases with $6 an hour.
"""

from datetime import date, timedelta
from math import ceil, sqrt

import pytest

from pricing.costs.domain import Terms, worker_week
from pricing.earnings.domain.ratio import Moments, ratio_estimate, t_quantile
from pricing.earnings.domain.wages import mileage_cents, wage_cents, week_pay_cents

MONDAY = date(2026, 6, 1)


def test_overtime_of_an_hourly_worker():
    """29 CFR 778.110(a): 46 hours at $12 are 40 x $12 + 6 x $18 = $588."""
    assert week_pay_cents(straight_cents=46 * 1200, worked_minutes=46 * 60) == 588_00


def test_overtime_with_a_production_bonus():
    """29 CFR 778.110(b): with a $46 bonus the regular rate is $13; 46 x $13 + 6 x $6.50 = $637."""
    assert week_pay_cents(straight_cents=46 * 1200 + 46_00, worked_minutes=46 * 60) == 637_00


def test_overtime_of_a_worker_paid_by_the_job():
    """29 CFR 778.111(a): $491 by the piece, 4 h waiting at $8; 50 x $10.46 + 10 x $5.23 = $575.30."""
    assert week_pay_cents(straight_cents=491_00 + 4 * 800, worked_minutes=50 * 60) == 575_30


def test_a_week_booked_job_by_job_costs_what_the_week_is_paid():
    """29 CFR 778.110(a) again, as 23 visits of two hours: the premium falls on the last three."""
    visits = [
        wage_cents(worked_minutes=120, cents_per_hour=1200, burden_percent=0, minutes_before_in_week=120 * i)
        for i in range(23)
    ]
    assert sum(visits) == 588_00
    assert visits[19:] == [2400, 3600, 3600, 3600]


def test_each_week_stands_alone():
    """29 CFR 778.104: 30 hours in one week and 50 in the next are ten hours of overtime, although their mean is 40.

    At $12: $360, and 50 x $12 + 10 x $6 = $660 (our figures).
    """
    worked = {("heron", MONDAY): 30 * 60, ("heron", MONDAY + timedelta(days=7)): 50 * 60}
    terms = [Terms(MONDAY, "heron", 1200, 0)]
    weeks = [worker_week("Ann", terms, worked, MONDAY + timedelta(days=7 * i)) for i in range(2)]
    assert [(week.overtime_minutes, week.pay_cents) for week in weeks] == [(0, 360_00), (600, 660_00)]


@pytest.mark.parametrize(
    ("on", "cents"), [(date(2026, 1, 2), 2712), (date(2025, 12, 31), 2618), (date(2024, 7, 1), 2506)]
)
def test_miles_cost_what_the_year_says(on, cents):
    """IRS Notices 2024-08, 2025-05, 2026-10: 67, 70 and 72.5 cents a mile; 37.4 miles, halves of a cent up."""
    assert mileage_cents(drive_metres=ceil(37.4 * 1609.344), on=on) == cents


def moments_of_a_sample(n, mean, standard_deviation):
    """n jobs of one hour each whose earnings have this mean and standard deviation."""
    return Moments(n, n, n * mean, n, n * mean, (n - 1) * standard_deviation**2 + n * mean**2)


def test_interval_of_a_mean():
    """NIST/SEMATECH e-Handbook 1.3.5.2, ZARR13.DAT: n 195, mean 9.261460, s 0.022789: (9.258242, 9.264679).

    With jobs of one hour each the ratio is the mean, and Fieller's interval the t interval of a mean.
    """
    estimate = ratio_estimate(moments_of_a_sample(195, 9.261460, 0.022789), confidence=0.95)
    assert estimate.value == pytest.approx(9.261460)
    assert estimate.low == pytest.approx(9.258242, abs=1e-6)
    assert estimate.high == pytest.approx(9.264679, abs=1e-6)


@pytest.mark.parametrize(
    ("degrees", "t"),
    [
        (1, 12.706),
        (2, 4.303),
        (4, 2.776),
        (5, 2.571),
        (9, 2.262),
        (14, 2.145),
        (19, 2.093),
        (29, 2.045),
    ],
)
def test_quantiles_of_students_t(degrees, t):
    """NIST/SEMATECH e-Handbook 1.3.6.7.2, upper 2.5 % points, and the interval built on them."""
    assert t_quantile(0.975, degrees) == pytest.approx(t, abs=5e-4)
    n = degrees + 1
    estimate = ratio_estimate(moments_of_a_sample(n, 100.0, sqrt(n)), confidence=0.95)
    assert estimate.high == pytest.approx(100 + t, abs=5e-4)
