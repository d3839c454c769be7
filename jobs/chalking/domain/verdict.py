"""What a forecast comes to in plain terms, and when it says nothing."""

from collections.abc import Sequence
from datetime import date, timedelta
from enum import StrEnum
from math import log
from statistics import NormalDist

WIDEST = 4.0  # late dose / early dose; ours: beyond it "some time" is all that could be said
WIDEST_UNTESTED = 8.0  # the same where no day is named but only the interval, of walls like it. Ours
SEASON = timedelta(days=92)
FARTHEST = timedelta(days=30 * 365)  # days beyond are written "later than"


class Verdict(StrEnum):
    """How a wall stands to the limit on a day. At the limit is what was read there since chalk was last taken off."""

    AT_LIMIT = "at_limit"
    HAS_PASSED = "has_passed"
    PROBABLY_PASSED = "probably_passed"
    THIS_SEASON = "this_season"
    MAY_THIS_SEASON = "may_this_season"
    LATER = "later"
    TOO_LITTLE = "too_little"


def is_too_wide(early_dose: float, late_dose: float, *, is_untested: bool = False) -> bool:
    """Whether the 80 % interval is too wide to name a day; of an untested wall, too wide to be told at all."""
    return late_dose > (WIDEST_UNTESTED if is_untested else WIDEST) * early_dose


def verdict(
    early: date | None, middle: date | None, late: date | None, *, today: date, is_at_limit: bool = False
) -> Verdict:
    """From the days by which one in ten, half and nine in ten of such walls have passed; None where refused.

    What was read on the wall goes before what is forecast.
    """
    if is_at_limit:
        return Verdict.AT_LIMIT
    if early is None or middle is None or late is None:
        return Verdict.TOO_LITTLE
    if late <= today:
        return Verdict.HAS_PASSED
    if middle <= today:
        return Verdict.PROBABLY_PASSED
    if middle <= today + SEASON:
        return Verdict.THIS_SEASON
    return Verdict.MAY_THIS_SEASON if early <= today + SEASON else Verdict.LATER


def chance_passed(dose: float, quantiles: Sequence[float], shares: Sequence[float]) -> float:
    """Share of walls like it that have passed at `dose`, between the first and the last of `shares`.

    `quantiles` are the doses by which those shares have passed, in order and above 0. Between two of them the normal
    deviate grows in a straight line with the logarithm of the dose; nothing is said beyond the outer ones.
    """
    if dose <= quantiles[0]:
        return shares[0]
    for low, high, before, after in zip(quantiles, quantiles[1:], shares, shares[1:], strict=False):
        if dose < high:
            part = log(dose / low) / log(high / low)
            ends = (NormalDist().inv_cdf(share) for share in (before, after))
            return NormalDist().cdf(sum(end * weight for end, weight in zip(ends, (1 - part, part), strict=True)))
    return shares[-1]
