"""What a forecast comes to in plain terms, and when it says nothing."""

from datetime import date, timedelta
from enum import StrEnum

WIDEST = 4.0  # late dose / early dose; ours: beyond it "some time" is all that could be said
SEASON = timedelta(days=92)
FARTHEST = timedelta(days=30 * 365)  # days beyond are written "later than"


class Verdict(StrEnum):
    """How a wall stands to the limit on a day."""

    HAS_PASSED = "has_passed"
    PROBABLY_PASSED = "probably_passed"
    THIS_SEASON = "this_season"
    MAY_THIS_SEASON = "may_this_season"
    LATER = "later"
    TOO_LITTLE = "too_little"


def is_too_wide(early_dose: float, late_dose: float) -> bool:
    """Whether the 80 % interval is too wide to name a day."""
    return late_dose > WIDEST * early_dose


def verdict(early: date | None, middle: date | None, late: date | None, *, today: date) -> Verdict:
    """From the days by which one in ten, half and nine in ten of such walls have passed; None where refused."""
    if early is None or middle is None or late is None:
        return Verdict.TOO_LITTLE
    if late <= today:
        return Verdict.HAS_PASSED
    if middle <= today:
        return Verdict.PROBABLY_PASSED
    if middle <= today + SEASON:
        return Verdict.THIS_SEASON
    return Verdict.MAY_THIS_SEASON if early <= today + SEASON else Verdict.LATER
