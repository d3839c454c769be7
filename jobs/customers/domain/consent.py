"""Where a person stands on being written to, from all that they ever said.

An opt-out of everything counts for every purpose on its channel. A later agreement lifts an earlier opt-out; where
clock and order of recording disagree about which was later, the opt-out stands.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

EMAIL, TEXT = "email", "text"
REMINDER, SERVICE, ALL = "reminder", "service", "all"
ABOUT_REMINDERS = (REMINDER, ALL)
ABOUT_BOOKED_WORK = (SERVICE, ALL)


@dataclass(frozen=True)
class ConsentRow:
    """One yes or no; `number` grows in the order of recording."""

    channel: str
    purpose: str
    given: bool
    at: datetime
    number: int


@dataclass(frozen=True)
class Standing:
    """What all the rows of a channel come to: an opt-out that stands, or else the newest agreement."""

    opted_out_at: datetime | None = None
    agreed_at: datetime | None = None


def standing(rows: Iterable[ConsentRow], channel: str, purposes: tuple[str, ...] = ABOUT_REMINDERS) -> Standing:
    """Where a person stands on reminders (or on `purposes`) by `channel`, from all rows of their address."""
    relevant = [row for row in rows if row.channel == channel and row.purpose in purposes]
    agreements = [row for row in relevant if row.given]
    for refusal in (row for row in relevant if not row.given):
        if not any(yes.number > refusal.number and yes.at >= refusal.at for yes in agreements):
            return Standing(opted_out_at=refusal.at)
    return Standing(agreed_at=max((yes.at for yes in agreements), default=None))
