"""How uncertain minutes are, and what follows for the chance that a price reaches the target.

Minutes on site are taken as log-normal: never below nothing, with a long tail to the slow side. The lines of one job
share crew, house and weather, so they are slow or fast together in part; the moments of their sum are matched by
another log-normal (Fenton 1960, "The sum of log-normal probability distributions in scatter transmission systems",
IRE Transactions on Communications Systems 8; from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

# How far the lines of one job go together; 0 not at all, 1 wholly. Our choice, no source.
CORRELATION_OF_LINES = 0.5
STANDARD = NormalDist()
Z_80, Z_90 = STANDARD.inv_cdf(0.8), STANDARD.inv_cdf(0.9)


@dataclass(frozen=True, slots=True)
class MinutesSpread:
    """Minutes on site of a two-person crew: expected value and median (> 0), and the spread of their logarithm."""

    mean: float
    median: float
    log_sd: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.mean) and self.mean > 0 and self.median > 0):
            raise ValueError(f"Expected a mean and a median above 0, got {self.mean} and {self.median}.")
        if not (math.isfinite(self.log_sd) and self.log_sd >= 0):
            raise ValueError(f"Expected a spread of 0 or more, got {self.log_sd}.")

    @property
    def variance(self) -> float:
        return self.mean**2 * math.expm1(self.log_sd**2)

    def quantile(self, share: float) -> float:
        """The minutes that a `share` (between 0 and 1) of such jobs stay within."""
        return self.median * math.exp(STANDARD.inv_cdf(share) * self.log_sd)

    def chance_within(self, minutes: float) -> float:
        """The chance that the work takes no longer than `minutes`."""
        if minutes <= 0:
            return 0.0
        if self.log_sd == 0:
            return 1.0 if self.median <= minutes else 0.0
        return STANDARD.cdf(math.log(minutes / self.median) / self.log_sd)


def log_normal(mean: float, log_sd: float) -> MinutesSpread:
    """The spread whose median follows from the mean, as a log-normal has it."""
    return MinutesSpread(mean, mean * math.exp(-(log_sd**2) / 2), log_sd)


def spread_from_quantiles(mean: float, median: float, q90: float) -> MinutesSpread:
    """A spread with this mean and median that has its 90 % quantile at `q90`."""
    if median <= 0 or q90 < median:
        raise ValueError(f"Expected 0 < median <= 90 % quantile, got {median} and {q90}.")
    return MinutesSpread(mean, median, math.log(q90 / median) / Z_90)


def spread_together(parts: Sequence[MinutesSpread], correlation: float = CORRELATION_OF_LINES) -> MinutesSpread:
    """The minutes of several lines done in one visit. Raises ValueError for no line at all."""
    if not parts:
        raise ValueError("Expected at least one line.")
    if len(parts) == 1:
        return parts[0]
    mean = sum(part.mean for part in parts)
    alone = sum(part.variance for part in parts)
    deviations = sum(math.sqrt(part.variance) for part in parts)
    variance = alone + correlation * (deviations**2 - alone)
    return log_normal(mean, math.sqrt(math.log1p(variance / mean**2)))
