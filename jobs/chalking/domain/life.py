"""When the present life of a wall's surface began: when it was fitted, or when chalk was last taken off."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import exp, log

MIDDLE_OF_YEAR = (7, 1)  # of a year that is known only as a number
DAYS_PER_YEAR = 365.25
SURELY_FIRST_YEARS = 10.0  # the siding of a house younger than this is taken to be its first. Ours
RESIDED_AFTER_YEARS = 40.0  # mean life of siding, ended at a constant rate. Ours
YOUNGER_STORIES = 4
STORIES = 1 + YOUNGER_STORIES  # at most


@dataclass(frozen=True, slots=True)
class Life:
    """`what` is one of removal, fitted, built, unknown; `since` is None where it is unknown."""

    since: date | None
    what: str

    @property
    def is_again(self) -> bool:
        return self.what == "removal"


def first_life(year_fitted: int | None, year_built: int | None) -> Life:
    """By the wall's own year, else by the house's: siding is taken to be as old as the house unless told otherwise."""
    if year_fitted:
        return Life(date(year_fitted, *MIDDLE_OF_YEAR), "fitted")
    if year_built:
        return Life(date(year_built, *MIDDLE_OF_YEAR), "built")
    return Life(None, "unknown")


def life_before(day: date, first: Life, removals: Sequence[date]) -> Life:
    """The life that a wall is in at the start of `day`; `removals` in order of time.

    A removal on the day itself comes after it, since walls are read before the work. A removal from before the siding
    was fitted was of other siding.
    """
    at = bisect_left(removals, day)
    newest = removals[at - 1] if at else None
    if newest is None or (first.since is not None and newest < first.since <= day):
        return first
    return Life(newest, "removal")


def beginnings(first: Life, read_on: date) -> tuple[tuple[date, float], ...]:
    """Days on which the siding that was first read on `read_on` may have been fitted, each with its chance; of siding
    that was never read, by what is known of it today.

    Where only the house's year is known: that of the house, or younger by a life of siding that ends at a constant
    rate, as YOUNGER_STORIES equal parts of that chance. Otherwise the one day that is known; empty for none.
    """
    if first.since is None:
        return ()
    years = (read_on - first.since).days / DAYS_PER_YEAR
    if first.what != "built" or years < SURELY_FIRST_YEARS:
        return ((first.since, 1.0),)
    original = exp(-years / RESIDED_AFTER_YEARS)
    parts = [(k + 0.5) / YOUNGER_STORIES for k in range(YOUNGER_STORIES)]
    ages = [-RESIDED_AFTER_YEARS * log(1 - part * (1 - original)) for part in parts]
    younger = ((read_on - timedelta(days=round(age * DAYS_PER_YEAR)), (1 - original) / len(ages)) for age in ages)
    return ((first.since, original), *younger)
