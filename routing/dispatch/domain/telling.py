"""What customers are told of the time at which a crew comes. Times are instants.

A promised window is told as it was promised. Without one the window is TOLD_MINUTES wide, a quarter of it before the
planned arrival and rounded to quarter hours, since crews are late more often than early; common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

TOLD_MINUTES = 120
QUARTER = timedelta(minutes=15)

Window = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class Coming:
    """A stop that lies ahead: its planned arrival, the promised windows of the day, and what was told so far."""

    arrives: datetime
    promised: Sequence[Window] = ()
    told: Window | None = None


def window_to_tell(coming: Coming) -> Window:
    """The promised window that holds the arrival, or one around it."""
    for opens, closes in coming.promised:
        if opens <= coming.arrives <= closes:
            return opens, closes
    opens = _quarter_before(coming.arrives - timedelta(minutes=TOLD_MINUTES / 4))
    return opens, opens + timedelta(minutes=TOLD_MINUTES)


def news(coming: Coming) -> str:
    """`first` where nothing was told yet, `changed` where the arrival lies outside of what was told, else empty."""
    if coming.told is None:
        return "first"
    opens, closes = coming.told
    return "" if opens <= coming.arrives <= closes else "changed"


def _quarter_before(at: datetime) -> datetime:
    past = timedelta(minutes=at.minute, seconds=at.second, microseconds=at.microsecond)
    return at - past % QUARTER
