"""When a service is due again. Dates only: no clock, no time zone, no daylight-saving trap."""

from calendar import monthrange
from datetime import date

MONTHS_PER_YEAR = 12


def months_after(anchor: date, months: int) -> date:
    """`months` calendar months after `anchor`, on the same day of the month or on the last one it has.

    Always counted from the anchor, never from a date that was clamped before: 31 January and 2 months give
    31 March, although 31 January and 1 month give 28 February.
    """
    year, month = divmod(anchor.year * MONTHS_PER_YEAR + anchor.month - 1 + months, MONTHS_PER_YEAR)
    return date(year, month + 1, min(anchor.day, monthrange(year, month + 1)[1]))


def next_due(last_done_on: date | None, interval_months: int) -> date | None:
    """The day on which the service is due again; None where it was never done. `interval_months` >= 1."""
    return None if last_done_on is None else months_after(last_done_on, interval_months)
