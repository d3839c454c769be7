"""What would bring a group of jobs up to the target, and what its hours would earn elsewhere, with 90 % intervals.

With d = target x - y, a job's own shortfall (x crew-minutes, y cents), each figure follows from one of two intervals:

- price rise in percent: target / R - 1 for each R of Fieller's interval (ratio.py), since prices y (1 + rise) reach
  the target at the hours x where y (1 + rise) / x = target;
- money and minutes a job: the t interval of the mean of d, in cents, and over the target in minutes:
  y + rise = target x, and y = target (x - saved);
- elsewhere: X (R' - R), R' the ratio of all other jobs of the report. The variances of both ratios,
  var(y - R x) / (n mean(x)^2), add up, with degrees of freedom after Welch and Satterthwaite.
  X is taken as it was: it is the hours that would be free. Jobs that have lines on both sides make the two ratios
  alike and the interval a little too wide.

Sources: W. G. Cochran, Sampling Techniques, 3rd ed., Wiley 1977, sections 2.8, 6.3 and 6.11; B. L. Welch, Biometrika
34 (1947) 28-35. From memory.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt

from pricing.earnings.domain.ratio import CONFIDENCE, NO_JOBS, Moments, RatioEstimate, ratio_variance, t_quantile


@dataclass(frozen=True, slots=True)
class Range:
    """A figure with the ends of its 90 % interval; None where the jobs cannot bound it."""

    value: float
    low: float | None = None
    high: float | None = None

    def map(self, change: Callable[[float], float]) -> "Range":
        """The same under a rising function."""
        ends = (None if end is None else change(end) for end in (self.low, self.high))
        return Range(change(self.value), *ends)


@dataclass(frozen=True, slots=True)
class Remedy:
    """What reaches the target, everything else as it was; and what the hours would earn elsewhere."""

    price_rise_percent: Range | None  # None where nothing came in: no percentage helps
    price_rise_cents_per_job: Range
    crew_minutes_saved_per_job: Range
    elsewhere_cents: Range | None  # more than now, over all its hours; None where there is no other work


def remedy(moments: Moments, target: float, earned: RatioEstimate, others: Moments = NO_JOBS) -> Remedy:
    """For a group (n >= 1, some time) that is below ``target`` (cents a crew-minute, > 0).

    ``earned`` is its ratio with the interval, ``others`` the sums of all other jobs of the report.
    """
    rise = _mean_shortfall(moments, target)
    return Remedy(
        price_rise_percent=_rise_percent(earned, target),
        price_rise_cents_per_job=rise,
        crew_minutes_saved_per_job=rise.map(lambda cents: cents / target),
        elsewhere_cents=_elsewhere(moments, others),
    )


def _rise_percent(earned: RatioEstimate, target: float) -> Range | None:
    """A high ratio needs the small rise; a ratio that may be nothing has no bound above."""
    if earned.value <= 0:
        return None

    def rise(ratio: float) -> float:
        return 100 * (target / ratio - 1)

    bounded = earned.high is not None and earned.low is not None and earned.low > 0
    if not bounded:
        return Range(rise(earned.value))
    assert earned.low is not None
    assert earned.high is not None
    return Range(rise(earned.value), rise(earned.high), rise(earned.low))


def _mean_shortfall(moments: Moments, target: float) -> Range:
    mean = (target * moments.sum_x - moments.sum_y) / moments.n
    if moments.n < 2:
        return Range(mean)
    # The variance of the ratio at ``target``, back from cents a minute to cents a job.
    deviation = sqrt(ratio_variance(moments, target)) * moments.sum_x / moments.n
    return _around(mean, deviation, moments.n - 1)


def _elsewhere(moments: Moments, others: Moments) -> Range | None:
    if others.n < 1 or others.sum_x <= 0:
        return None
    own, other = moments.sum_y / moments.sum_x, others.sum_y / others.sum_x
    gain = moments.sum_x * (other - own)
    if min(moments.n, others.n) < 2:
        return Range(gain)
    variances = [
        (ratio_variance(moments, own), moments.n - 1),
        (ratio_variance(others, other), others.n - 1),
    ]
    total = sum(variance for variance, _ in variances)
    if total <= 0:
        return Range(gain, gain, gain)
    degrees = total**2 / sum(variance**2 / df for variance, df in variances)
    return _around(gain, moments.sum_x * sqrt(total), degrees)


def _around(value: float, deviation: float, degrees: float) -> Range:
    half = t_quantile((1 + CONFIDENCE) / 2, degrees) * deviation
    return Range(value, value - half, value + half)
