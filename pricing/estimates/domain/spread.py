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
    """Minutes on site of a two-person crew: their expected value (> 0) and the spread of their logarithm (>= 0)."""

    mean: float
    log_sd: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.mean) and self.mean > 0):
            raise ValueError(f"Expected a mean above 0, got {self.mean}.")
        if not (math.isfinite(self.log_sd) and self.log_sd >= 0):
            raise ValueError(f"Expected a spread of 0 or more, got {self.log_sd}.")

    @property
    def median(self) -> float:
        return self.mean * math.exp(-(self.log_sd**2) / 2)

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
            return 1.0 if self.mean <= minutes else 0.0
        return STANDARD.cdf(math.log(minutes / self.median) / self.log_sd)

    def shifted(self, minutes: float) -> "MinutesSpread":
        """The same share of uncertainty about a mean that is `minutes` larger (smaller where below 0; at least 1)."""
        return MinutesSpread(max(1.0, self.mean + minutes), self.log_sd)


def spread_from_quantiles(mean: float, median: float, q90: float) -> MinutesSpread:
    """The log-normal with this mean whose 90 % quantile lies as far above its median as `q90` above `median`."""
    if median <= 0 or q90 < median:
        raise ValueError(f"Expected 0 < median <= 90 % quantile, got {median} and {q90}.")
    return MinutesSpread(mean, math.log(q90 / median) / Z_90)


def spread_together(parts: Sequence[MinutesSpread], correlation: float = CORRELATION_OF_LINES) -> MinutesSpread:
    """The minutes of several lines done in one visit. Raises ValueError for no line at all."""
    if not parts:
        raise ValueError("Expected at least one line.")
    mean = sum(part.mean for part in parts)
    alone = sum(part.variance for part in parts)
    deviations = sum(math.sqrt(part.variance) for part in parts)
    variance = alone + correlation * (deviations**2 - alone)
    return MinutesSpread(mean, math.sqrt(math.log1p(variance / mean**2)))
