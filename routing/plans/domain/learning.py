"""From drives that were booked to what planned ones take: a part that every drive has, and a factor for the road.

From finishing at one stop to arriving at the next a crew packs up, drives and parks. So a drive is a fixed part plus a
factor times the road's minutes, and taking it all for driving would make short drives look slow.

The **fixed part** of a yard is the intercept of the line through its drives whose slope is the median of the slopes of
all pairs (Theil 1950, Sen 1968), drawn towards 0 while there are few; its interval is that of the slope, carried over
to the intercept. The **factor** of some hours is the median of (taken - fixed part) / road, drawn towards 1 while there
are few: with n drives its logarithm counts n / (n + SHRINK_TRIPS). Its interval is that of the median by order
statistics (W. J. Conover, Practical Nonparametric Statistics, section on quantiles; from memory), which assumes no
distribution. One wrong mark moves neither.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any

import numpy as np
from scipy.stats import binom, theilslopes

from routing.roads.domain import Cells, DriveTable

SHRINK_TRIPS = 20  # with so many drives half of what they say is believed; our choice, no source
LEAST_PERCENT, MOST_PERCENT = 50, 200
LEAST_EXPECTED, MOST_TAKEN = 3, 180  # minutes; shorter drives say nothing of the road, longer gaps are no drives
MOST_FIXED = 20  # minutes; who needs longer to pack up books it as work; our choice
MOST_PAIRED = 1_000  # drives whose pairs are looked at, the newest: half a million pairs
CONFIDENCE = 0.90
LEARNT = "; learnt"


@dataclass(frozen=True, slots=True)
class Trip:
    """A drive from stop to stop: minutes by the drive table, and minutes between finishing here and arriving there."""

    expected_minutes: int
    taken_minutes: int

    @property
    def is_usable(self) -> bool:
        """Whether it can be a drive: times booked afterwards and errands make others."""
        return self.expected_minutes >= LEAST_EXPECTED and 1 <= self.taken_minutes <= MOST_TAKEN


@dataclass(frozen=True, slots=True)
class Gap:
    """The time between two stops of a crew's day, oldest day first. `break_minutes` is the length of the crew's break
    where the gap meets the time for it, else 0."""

    crew_day: Any
    trip: Trip
    break_minutes: int = 0

    @property
    def beyond_break(self) -> int:
        """Minutes that the gap is longer than the drive and the break together."""
        return self.trip.taken_minutes - self.trip.expected_minutes - self.break_minutes


@dataclass(frozen=True, slots=True)
class Packing:
    """The fixed part of a yard's drives in minutes; `minutes` is used. The interval is None where the drives are too
    alike to tell it from the road."""

    trips: int
    minutes: int = 0
    low_minutes: int | None = None
    high_minutes: int | None = None


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
    """Percent for the drives out from the yard, between stops, and back to it; and minutes that a drive takes longer
    where it begins at a stop."""

    leaving: int = 100
    between: int = 100
    returning: int = 100
    packing_minutes: int = 0

    @property
    def is_plain(self) -> bool:
        return self == DayFactors()


def without_breaks(gaps: Iterable[Gap]) -> list[Trip]:
    """The gaps as drives, in order. A day's break is taken out of one gap: of those that meet its time and have room
    for it, the one with the most to spare."""
    gaps = list(gaps)
    rested: dict[Any, Gap] = {}
    for gap in gaps:
        if gap.break_minutes and gap.beyond_break >= 0:
            before = rested.get(gap.crew_day)
            rested[gap.crew_day] = gap if before is None or gap.beyond_break > before.beyond_break else before
    found = []
    for gap in gaps:
        rest = gap.break_minutes if rested.get(gap.crew_day) is gap else 0
        found.append(replace(gap.trip, taken_minutes=gap.trip.taken_minutes - rest))
    return found


def packing_of(trips: Sequence[Trip]) -> Packing:
    """The fixed part of a yard's drives, those of all hours together, the oldest first."""
    usable = [trip for trip in trips if trip.is_usable][-MOST_PAIRED:]
    count = len(usable)
    expected = np.array([trip.expected_minutes for trip in usable], float)
    taken = np.array([trip.taken_minutes for trip in usable], float)
    if count < 2 or np.ptp(expected) == 0:
        return Packing(trips=count)
    with np.errstate(invalid="ignore"):  # where drives are few and alike the slope has no interval: not a number
        slope, _intercept, slowest, steepest = theilslopes(taken, expected, alpha=CONFIDENCE)
    fixed, low, high = (float(np.median(taken - each * expected)) for each in (slope, steepest, slowest))
    shrunk = _whole(fixed * count / (count + SHRINK_TRIPS))
    if math.isnan(low) or math.isnan(high):
        return Packing(count, shrunk)
    return Packing(count, shrunk, _whole(low), _whole(high))


def factor_of(trips: Sequence[Trip], packing_minutes: int = 0) -> Factor:
    """The factor of like hours from their trips, in any order, after the fixed part of each."""
    logs = sorted(_log_ratio(trip, packing_minutes) for trip in trips if trip.is_usable)
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


def fitted(gaps: dict[Any, list[Gap]]) -> tuple[Packing, dict[Any, Factor]]:
    """The fixed part of all gaps, and the factor of each of their hours."""
    by_hour: dict[Any, list[Trip]] = defaultdict(list)
    labelled = [(hour, gap) for hour, found in gaps.items() for gap in found]
    for (hour, _gap), trip in zip(labelled, without_breaks(gap for _hour, gap in labelled), strict=True):
        by_hour[hour].append(trip)
    packing = packing_of(list(chain.from_iterable(by_hour.values())))
    return packing, {hour: factor_of(trips, packing.minutes) for hour, trips in by_hour.items()}


def scaled(table: DriveTable, factors: DayFactors) -> DriveTable:
    """The table with its minutes times the factors, rounded up, and the fixed part; the first place is the yard.

    Its source says so. Metres stay, and so does what cannot be driven or need not be.
    """
    if factors.is_plain:
        return table
    size = range(len(table.minutes))
    minutes: Cells = tuple(tuple(_minutes(table.minutes[a][b], factors, a, b) for b in size) for a in size)
    return replace(table, minutes=minutes, source=f"{table.source}{LEARNT}")


def _minutes(minutes: int | None, factors: DayFactors, start: int, end: int) -> int | None:
    if not minutes:
        return minutes
    if start == 0:
        return -(-minutes * factors.leaving // 100)
    percent = factors.returning if end == 0 else factors.between
    return -(-minutes * percent // 100) + factors.packing_minutes


def _log_ratio(trip: Trip, packing_minutes: int) -> float:
    return math.log(max(1, trip.taken_minutes - packing_minutes) / trip.expected_minutes)


def _whole(minutes: float) -> int:
    return min(MOST_FIXED, max(0, math.floor(minutes + 0.5)))


def _percent(log_ratio: Any) -> int:
    return round(100 * math.exp(log_ratio))
