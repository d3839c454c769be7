"""Earned per crew-hour of a kind of job: the ratio of two sums, with an honest interval.

The estimate is sum(y) / sum(x) over jobs (y cents, x crew-minutes), the *ratio estimator*: a day on a large
job counts for more than an hour on a small one, as it does in the till. A mean of the jobs' own hourly
figures would not.

The interval is Fieller's. For the true ratio R the differences d = y - R x have mean 0, so
    t = mean(d) / sqrt(var(d) / n)
follows Student's t with n - 1 degrees of freedom (exactly if d is normal, closely otherwise). The interval is
the set of all R that this test does not reject, that is |t| <= t(1 - alpha/2, n - 1). With
var(d) = Syy - 2 R Sxy + R^2 Sxx it is bounded by the roots of
    a R^2 - 2 b R + c = 0,
    a = mean(x)^2 - t^2 Sxx / n,   b = mean(x) mean(y) - t^2 Sxy / n,   c = mean(y)^2 - t^2 Syy / n.
If a <= 0 the hours themselves are too uncertain, every ratio is possible, and there is no interval.
The usual large-sample interval, r -+ t sqrt(var(y - r x) / n) / mean(x), is too short for few and skewed
jobs: in tests/benchmarks/earnings.py it covers 87-89 % where 90 % is claimed and Fieller's covers 89-91 %.

Sources: W. G. Cochran, Sampling Techniques, 3rd ed., Wiley 1977, section 6.3 to 6.5 (variance and confidence
limits of the ratio, among them this quadratic); E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175-185. Both
from memory.
"""

from dataclasses import astuple, dataclass
from math import sqrt

from scipy.special import stdtr, stdtrit

CONFIDENCE = 0.90


@dataclass(frozen=True, slots=True)
class Moments:
    """Sums over the jobs of one kind, one (x, y) a job: all that the interval and its test need."""

    n: int
    sum_x: float
    sum_y: float
    sum_xx: float
    sum_xy: float
    sum_yy: float

    @classmethod
    def of(cls, pairs: list[tuple[float, float]]) -> "Moments":
        """The sums of a list of (x, y)."""
        return cls(
            n=len(pairs),
            sum_x=sum(x for x, _ in pairs),
            sum_y=sum(y for _, y in pairs),
            sum_xx=sum(x * x for x, _ in pairs),
            sum_xy=sum(x * y for x, y in pairs),
            sum_yy=sum(y * y for _, y in pairs),
        )

    def __add__(self, other: "Moments") -> "Moments":
        """The sums over both lists of jobs."""
        return Moments(*(a + b for a, b in zip(astuple(self), astuple(other), strict=True)))

    def __sub__(self, part: "Moments") -> "Moments":
        """The sums over the jobs that are not in ``part``, which must be some of these."""
        return Moments(*(a - b for a, b in zip(astuple(self), astuple(part), strict=True)))


NO_JOBS = Moments(0, 0.0, 0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class RatioEstimate:
    """sum(y) / sum(x) and its interval; ``low`` and ``high`` are None where the jobs cannot bound it."""

    value: float
    low: float | None
    high: float | None


def ratio_estimate(moments: Moments, *, confidence: float = CONFIDENCE) -> RatioEstimate | None:
    """Estimate sum(y) / sum(x) with Fieller's interval; None where no time was booked at all.

    One job has a ratio but no interval: nothing is known of the spread.
    """
    if moments.n < 1 or moments.sum_x <= 0:
        return None
    value = moments.sum_y / moments.sum_x
    bounds = _fieller(moments, confidence) if moments.n > 1 else None
    low, high = bounds or (None, None)
    return RatioEstimate(value=value, low=low, high=high)


def two_sided_p(moments: Moments, ratio: float) -> float:
    """Chance of sums at least as far from ``ratio`` (>= 0) as these if it were the true ratio.

    The t test that Fieller's interval inverts: p < 0.10 exactly where ``ratio`` lies outside the 90 %
    interval. 1.0 for fewer than two jobs.
    """
    if moments.n < 2:
        return 1.0
    mean_d = (moments.sum_y - ratio * moments.sum_x) / moments.n
    variance = _variance_of_difference(moments, ratio) / moments.n
    if variance <= 0:
        return 1.0 if mean_d == 0 else 0.0
    return float(2 * stdtr(moments.n - 1, -abs(mean_d) / sqrt(variance)))


def ratio_variance(moments: Moments, ratio: float) -> float:
    """Variance of sum(y) / sum(x) if ``ratio`` is the true one: var(y - ratio x) / (n mean(x)^2). Needs n >= 2."""
    mean_x = moments.sum_x / moments.n
    return max(0.0, _variance_of_difference(moments, ratio)) / moments.n / mean_x**2


def t_quantile(probability: float, degrees_of_freedom: float) -> float:
    """Quantile of Student's t: t_quantile(0.975, 4) is 2.776."""
    return float(stdtrit(degrees_of_freedom, probability))


def _fieller(moments: Moments, confidence: float) -> tuple[float, float] | None:
    n = moments.n
    s_xx, s_xy, s_yy = _spread(moments)
    k = t_quantile((1 + confidence) / 2, n - 1) ** 2 / n
    mean_x, mean_y = moments.sum_x / n, moments.sum_y / n
    a = mean_x**2 - k * s_xx
    b = mean_x * mean_y - k * s_xy
    c = mean_y**2 - k * s_yy
    if a <= 0:
        return None
    root = sqrt(max(0.0, b * b - a * c))
    return (b - root) / a, (b + root) / a


def _spread(moments: Moments) -> tuple[float, float, float]:
    """Sample variances and covariance; rounding in the sums must not make a variance negative."""
    n = moments.n
    s_xx = (moments.sum_xx - moments.sum_x**2 / n) / (n - 1)
    s_xy = (moments.sum_xy - moments.sum_x * moments.sum_y / n) / (n - 1)
    s_yy = (moments.sum_yy - moments.sum_y**2 / n) / (n - 1)
    return max(0.0, s_xx), s_xy, max(0.0, s_yy)


def _variance_of_difference(moments: Moments, ratio: float) -> float:
    s_xx, s_xy, s_yy = _spread(moments)
    return s_yy - 2 * ratio * s_xy + ratio * ratio * s_xx
