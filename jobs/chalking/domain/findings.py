"""What a fit says in plain quantities, beside what was believed before anything was read.

Each is a function of the parameters; its range of 80 percent is taken over draws from the fit's normal approximation.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist

import numpy as np

from jobs.chalking.domain.draws import QUANTILES, parameter_draws
from jobs.chalking.domain.fitting import Fit
from jobs.chalking.domain.growth import (
    AGAIN,
    INTERCEPT,
    LOG_NOISE,
    LOG_SHAPE,
    LOG_SPREAD,
    RAIN,
    SLOPE,
    Floats,
)

DRAWS = 2_000
LEARNT_SHARE = 0.9  # a range that is hardly narrower than before was taught nothing
LOGISTIC_DEVIATION = np.pi / np.sqrt(3)  # standard deviation of a logistic law of scale 1
FAST_TENTH = NormalDist().inv_cdf(0.9)


class What(StrEnum):
    """Years; a factor on the rate; or steps of the scale."""

    YEARS = "years"  # until an open mid-tone vinyl wall that faces the noon sun passes the limit
    DARK = "dark"  # how many times as fast black chalks as white
    AGAIN = "again"  # how many times as fast after a removal as before any
    PACE = "pace"  # how many times as fast the fastest in ten of like walls are as the middle one
    MATERIAL = "material"  # how many times as fast as vinyl
    KIND = "kind"  # how many times as fast as a wall
    RAIN = "rain"  # how much higher a wall reads within three days of rain
    OFF = "off"  # by how much a reading is off: its standard deviation
    READER = "reader"  # how much higher than others somebody reads


@dataclass(frozen=True)
class Range:
    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class Finding:
    """`subject` is the code of a material or kind, or the number of a reader; empty for the rest."""

    what: What
    subject: str
    before: Range
    now: Range

    @property
    def is_learnt(self) -> bool:
        """Whether the readings narrowed the range: of years and factors, as a ratio."""
        return self._width(self.now) < LEARNT_SHARE * self._width(self.before)

    def _width(self, found: Range) -> float:
        if self.what in (What.RAIN, What.READER):
            return found.high - found.low
        return float(np.log(found.high / found.low))


Quantity = Callable[[Floats], Floats]


def findings(names: Sequence[str], found: Fit, prior: Fit, *, limit: float) -> tuple[Finding, ...]:
    """Of parameters with these names, in their order: the fixed ones, `material ...`, `kind ...`, `reader ...`."""
    now, before = (parameter_draws(each, DRAWS) for each in (found, prior))
    return tuple(
        Finding(what, subject, _range(quantity(before)), _range(quantity(now)))
        for what, subject, quantity in _quantities(names, limit)
    )


def _range(values: Floats) -> Range:
    return Range(*np.quantile(values, QUANTILES).tolist())


def _quantities(names: Sequence[str], limit: float) -> list[tuple[What, str, Quantity]]:
    at = {name: k for k, name in enumerate(names)}
    vinyl, face = at["material vinyl"], at["kind face"]

    def years(draws: Floats) -> Floats:
        rate = draws[:, INTERCEPT] + draws[:, vinyl] + draws[:, face]
        return np.asarray(np.exp((np.log(limit) - rate) / np.exp(draws[:, LOG_SHAPE])))

    def factor(column: int, against: int | None = None) -> Quantity:
        return lambda draws: np.exp(draws[:, column] - (0 if against is None else draws[:, against]))

    def plain(column: int) -> Quantity:
        return lambda draws: draws[:, column]

    told: list[tuple[What, str, Quantity]] = [
        (What.YEARS, "", years),
        (What.DARK, "", factor(SLOPE)),
        (What.AGAIN, "", factor(AGAIN)),
        (What.PACE, "", lambda draws: np.exp(FAST_TENTH * np.exp(draws[:, LOG_SPREAD]))),
        (What.RAIN, "", plain(RAIN)),
        (What.OFF, "", lambda draws: LOGISTIC_DEVIATION * np.exp(draws[:, LOG_NOISE])),
    ]
    for name, column in at.items():
        group, _, subject = name.partition(" ")
        if group == "material" and column != vinyl:
            told.append((What.MATERIAL, subject, factor(column, vinyl)))
        if group == "kind" and column != face:
            told.append((What.KIND, subject, factor(column, face)))
        if group == "reader" and subject.isdecimal():
            told.append((What.READER, subject, plain(column)))
    return told
