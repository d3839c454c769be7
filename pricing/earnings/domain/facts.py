"""What was true of a job when it was booked: the facts that the report breaks earnings down by."""

from dataclasses import dataclass, replace
from enum import StrEnum


class HoursShared(StrEnum):
    """How the hours on site of a visit were shared out over its lines."""

    ALONE = "alone"  # one line, which takes all
    BOOKED = "booked"  # by the minutes that the crew booked for each line
    ESTIMATED = "estimated"  # by the estimated minutes, at least in part


@dataclass(frozen=True, slots=True)
class BookingFacts:
    """Facts of the job and its property on the day of the work; empty or None: not known.

    They are copied into the ledger, so that a customer who moves or a house that is built higher changes
    nothing of the past. ``town_part`` is one of centre, north, east, south, west of ``city``.
    """

    storeys: int | None = None
    city: str = ""
    town_part: str = ""
    lead_source: str = ""
    is_returning: bool | None = None

    def of_callback(self) -> "BookingFacts":
        """The same for a free return visit: whether the customer was new is known of the job that caused it."""
        return replace(self, is_returning=None)


def hours_shared(booked: list[int | None]) -> HoursShared:
    """How the hours of a visit were shared, from the minutes booked for each of its lines (None: not booked)."""
    if len(booked) == 1:
        return HoursShared.ALONE
    return HoursShared.ESTIMATED if None in booked else HoursShared.BOOKED
