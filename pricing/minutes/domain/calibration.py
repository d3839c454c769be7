"""Whether the quantiles keep their word: what share of the jobs fell below each, with an interval."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import sqrt

from scipy.special import ndtri

CALIBRATED_JOBS = 200
WORST_SHOWN = 10
LEVELS = (("median_minutes", 0.5), ("q80_minutes", 0.8), ("q90_minutes", 0.9))


@dataclass(frozen=True, slots=True)
class Judged:
    """A line that was done beside its forecast from before; minutes of a two-person crew."""

    job_ref: int
    service_name: str
    work_date: date
    real_minutes: float
    mean_minutes: int
    median_minutes: int
    q80_minutes: int
    q90_minutes: int

    @property
    def factor(self) -> float:
        """How many times the expected minutes it took."""
        return self.real_minutes / self.mean_minutes

    @property
    def miss(self) -> float:
        """How far off, whichever way: 2 for twice or half as long."""
        return max(self.factor, 1 / self.factor)


@dataclass(frozen=True, slots=True)
class LevelResult:
    """Of ``jobs``, ``below`` took at most the quantile of ``level``; 95 % Wilson interval of the share."""

    level: float
    jobs: int
    below: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.below / self.jobs

    @property
    def holds(self) -> bool:
        """Whether the level lies in the interval, so that nothing speaks against it."""
        return self.low <= self.level <= self.high


@dataclass(frozen=True, slots=True)
class Calibration:
    """The last jobs judged. ``bias`` is real over expected minutes of all together; None without jobs."""

    jobs: int
    levels: tuple[LevelResult, ...]
    bias: float | None
    worst: tuple[Judged, ...]


def calibration_of(judged: Sequence[Judged]) -> Calibration:
    """Judge forecasts by what happened; ``worst`` are the furthest off, whichever way."""
    if not judged:
        return Calibration(0, (), None, ())
    return Calibration(
        jobs=len(judged),
        levels=tuple(_level(judged, name, level) for name, level in LEVELS),
        bias=sum(row.real_minutes for row in judged) / sum(row.mean_minutes for row in judged),
        worst=tuple(sorted(judged, key=lambda row: -row.miss)[:WORST_SHOWN]),
    )


def _level(judged: Sequence[Judged], name: str, level: float) -> LevelResult:
    below = sum(row.real_minutes <= getattr(row, name) for row in judged)
    return LevelResult(level, len(judged), below, *wilson_interval(below, len(judged)))


def wilson_interval(successes: int, trials: int, *, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of a share of ``trials`` >= 1, by inverting the normal test of a proportion.

    Source: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212. Never outside 0 to 1, and honest for few trials.
    """
    if not 0 <= successes <= trials or trials < 1:
        raise ValueError(f"Expected 0 <= successes <= trials and a trial, got {successes} of {trials}.")
    z2 = float(ndtri((1 + confidence) / 2)) ** 2
    share = successes / trials
    middle = (share + z2 / (2 * trials)) / (1 + z2 / trials)
    half = sqrt(z2 * (share * (1 - share) / trials + z2 / (4 * trials**2))) / (1 + z2 / trials)
    return max(0.0, middle - half), min(1.0, middle + half)
