"""Intervals of shares, regression and robust lines against published worked examples; each test names its source.

The interval of a mean and the quantiles of Student's t are in ``test_published_labour.py``, the interval of a
difference of shares in ``tests/jobs/reminders/test_gain.py``.
"""

import numpy as np
import pytest

from pricing.minutes.domain.calibration import wilson_interval
from pricing.minutes.domain.fitting import effects_posterior
from routing.plans.domain.learning import Packing, Trip, packing_of

# y and x of Norris.dat, the calibration of an ozone monitor: NIST Statistical Reference Datasets, linear regression.
NORRIS = np.array([
    (0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1), (228.1, 226.5), (668.5, 666.3),
    (998.5, 996.3), (449.1, 448.6), (778.9, 777.0), (559.2, 558.2), (0.3, 0.4), (0.1, 0.6), (778.1, 775.5),
    (668.8, 666.9), (339.3, 338.0), (448.9, 447.5), (10.8, 11.6), (557.7, 556.0), (228.3, 228.1), (998.0, 995.8),
    (888.8, 887.6), (119.6, 120.2), (0.3, 0.3), (0.6, 0.3), (557.6, 556.8), (339.3, 339.1), (888.0, 887.2),
    (998.5, 999.0), (778.9, 779.0), (10.2, 11.1), (117.6, 118.3), (228.9, 229.2), (668.4, 669.1), (449.2, 448.9),
    (0.2, 0.5),
])  # fmt: skip
NORRIS_SLOPE, NORRIS_SLOPE_ERROR = 1.00211681802045, 0.429796848199937e-3
NORRIS_INTERCEPT, NORRIS_INTERCEPT_ERROR = -0.262323073774029, 0.232818234301152
NORRIS_DEVIATION = 0.884796396144373
VAGUE = 1e12  # prior variance of an effect of which nothing is known beforehand


def norris_effects(*, variance: float, prior: float = VAGUE) -> tuple[np.ndarray, np.ndarray]:
    """Intercept and slope with their covariance, by the regression that learns the minutes."""
    y, x = NORRIS.T
    design = np.column_stack([np.ones_like(x), x])
    return effects_posterior(design, y, np.full(len(y), 1 / variance), np.full(2, prior))


def test_linear_regression() -> None:
    """NIST StRD Norris, certified to fifteen digits: with vague priors the learning is least squares."""
    (intercept, slope), covariance = norris_effects(variance=NORRIS_DEVIATION**2)
    assert intercept == pytest.approx(NORRIS_INTERCEPT, rel=1e-9)
    assert slope == pytest.approx(NORRIS_SLOPE, rel=1e-12)
    errors = np.sqrt(np.diag(covariance))
    assert errors == pytest.approx([NORRIS_INTERCEPT_ERROR, NORRIS_SLOPE_ERROR], rel=1e-9)


def test_linear_regression_is_drawn_to_the_prior() -> None:
    """The same with a slope and intercept of 0 +- 1 beforehand, by the textbook formula with the certified values.

    Least squares with its covariance C and a prior of variance 1 give (C^-1 + 1)^-1 C^-1 b (Bayes' rule for normal
    variables; from memory). C has the certified errors and, for a straight line, cov = -mean(x) error(slope)^2.
    """
    means, covariance = norris_effects(variance=NORRIS_DEVIATION**2, prior=1.0)
    between = -NORRIS[:, 1].mean() * NORRIS_SLOPE_ERROR**2
    certified = np.array([[NORRIS_INTERCEPT_ERROR**2, between], [between, NORRIS_SLOPE_ERROR**2]])
    information = np.linalg.inv(certified)
    expected = np.linalg.inv(information + np.eye(2))
    assert covariance == pytest.approx(expected, rel=1e-6)
    assert means == pytest.approx(expected @ information @ [NORRIS_INTERCEPT, NORRIS_SLOPE], rel=1e-6)


@pytest.mark.parametrize(
    ("successes", "trials", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
        (4, 20, 0.0807, 0.4160),
        (0, 10, 0.0000, 0.2775),
    ],
)
def test_interval_of_a_share(successes: int, trials: int, low: float, high: float) -> None:
    """The first four: R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3 (Wilson's score
    interval, 95 %); from memory. The others by hand from E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212."""
    assert wilson_interval(successes, trials) == (pytest.approx(low, abs=6e-5), pytest.approx(high, abs=6e-5))
    mirrored = wilson_interval(trials - successes, trials)
    assert mirrored == (pytest.approx(1 - high, abs=6e-5), pytest.approx(1 - low, abs=6e-5))


def test_a_line_that_one_wrong_value_does_not_move() -> None:
    """D. R. Helsel, R. M. Hirsch, Statistical Methods in Water Resources, chapter on the Kendall-Theil line: y 1, 2, 3,
    4, 5, 16, 7 at x 1 to 7 has the robust slope 1 and intercept 0; least squares 1.714 and -1.429. From memory.

    As drives: x minutes beyond two by the roads, y beyond twelve taken, so a fixed part of 12 - 2 = 10 minutes; with
    least squares it would be 12 - 1.429 - 2 x 1.714 = 7. A hundred times over, so that few drives draw nothing to 0.
    """
    trips = [Trip(x + 2, y + 12) for x, y in enumerate((1, 2, 3, 4, 5, 16, 7), start=1)]
    assert packing_of(trips * 100) == Packing(trips=700, minutes=10, low_minutes=10, high_minutes=10)
    intercept, slope = np.linalg.lstsq(
        np.array([(1, trip.expected_minutes) for trip in trips]), np.array([trip.taken_minutes for trip in trips])
    )[0]
    assert (slope, intercept) == (pytest.approx(1.714, abs=5e-4), pytest.approx(12 - 1.429 - 2 * 1.714, abs=5e-3))
