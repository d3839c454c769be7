"""When the present life of a wall's surface began: when it was fitted, or when chalk was last taken off."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

MIDDLE_OF_YEAR = (7, 1)  # of a year that is known only as a number


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
