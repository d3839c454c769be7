"""From drives that were booked to factors for those that are planned.

A drive's ratio is what it took over what the drive table says, both in whole minutes rounded up. The factor of some
hours is the median of the ratios, which one wrong mark does not move, drawn towards 1 while there are few: with n
drives its logarithm counts n / (n + SHRINK_TRIPS). The interval is that of the median by order statistics (W. J.
Conover, Practical Nonparametric Statistics, section on quantiles; from memory), which assumes no distribution.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from scipy.stats import binom

from routing.roads.domain import Cells, DriveTable

SHRINK_TRIPS = 20  # with so many drives half of what they say is believed; our choice, no source
LEAST_PERCENT, MOST_PERCENT = 50, 200
LEAST_EXPECTED, MOST_TAKEN = 3, 180  # minutes; shorter drives are mostly parking, longer gaps no drives
CONFIDENCE = 0.90
LEARNT = "; learnt"
LONGEST_SOURCE = 40


@dataclass(frozen=True, slots=True)
class Trip:
    """A drive from stop to stop: minutes by the drive table, and minutes between finishing here and arriving there."""

    expected_minutes: int
    taken_minutes: int

    @property
    def is_usable(self) -> bool:
        """Whether it can be a drive: times booked afterwards, breaks and errands make others."""
        return self.expected_minutes >= LEAST_EXPECTED and 1 <= self.taken_minutes <= MOST_TAKEN


@dataclass(frozen=True, slots=True)
class Factor:
    """`factor_percent` is used; the median and its interval are what the trips say. None without a usable
    trip; fewer than five trips bound no median with 90 %."""

    trips: int
    factor_percent: int = 100
    median_percent: int | None = None
    low_percent: int | None = None
    high_percent: int | None = None


@dataclass(frozen=True, slots=True)
class DayFactors:
    """Percent for the drives out from the yard, between stops, and back to it."""

    leaving: int = 100
    between: int = 100
    returning: int = 100

    @property
    def is_plain(self) -> bool:
        return (self.leaving, self.between, self.returning) == (100, 100, 100)


def factor_of(trips: Sequence[Trip]) -> Factor:
    """The factor of like hours from their trips, in any order."""
    logs = sorted(math.log(trip.taken_minutes / trip.expected_minutes) for trip in trips if trip.is_usable)
    count = len(logs)
    if not count:
        return Factor(trips=0)
    median = (logs[(count - 1) // 2] + logs[count // 2]) / 2
    beyond = int(binom.ppf((1 - CONFIDENCE) / 2, count, 0.5))  # ratios that may lie on one side of the interval
    shrunk = median * count / (count + SHRINK_TRIPS)
    return Factor(
        trips=count,
        factor_percent=min(MOST_PERCENT, max(LEAST_PERCENT, _percent(shrunk))),
        median_percent=_percent(median),
        low_percent=_percent(logs[beyond - 1]) if beyond else None,
        high_percent=_percent(logs[-beyond]) if beyond else None,
    )


def scaled(table: DriveTable, factors: DayFactors) -> DriveTable:
    """The table with its minutes times the factors, rounded up; the first place is the yard. Its source says so.

    Metres stay, and so does what cannot be driven.
    """
    if factors.is_plain:
        return table
    size = range(len(table.minutes))
    minutes: Cells = tuple(
        tuple(_minutes(table.minutes[a][b], _percent_for(factors, a, b)) for b in size) for a in size
    )
    return replace(table, minutes=minutes, source=f"{table.source[: LONGEST_SOURCE - len(LEARNT)]}{LEARNT}")


def _percent_for(factors: DayFactors, start: int, end: int) -> int:
    if start == 0:
        return factors.leaving
    return factors.returning if end == 0 else factors.between


def _minutes(minutes: int | None, percent: int) -> int | None:
    return None if minutes is None else -(-minutes * percent // 100)


def _percent(log_ratio: Any) -> int:
    return round(100 * math.exp(log_ratio))
