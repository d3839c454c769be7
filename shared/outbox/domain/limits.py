"""How fast messages may leave, and how many may go to one address. The figures are settings; no source."""

from collections.abc import Sequence
from datetime import datetime, timedelta

MINUTE = timedelta(minutes=1)
WEEK = timedelta(days=7)


def room_this_minute(per_minute: int, left_in_last_minute: int) -> int:
    """How many more may leave now."""
    return max(0, per_minute - left_in_last_minute)


def held_until(sent_at: Sequence[datetime], *, now: datetime, most_per_week: int) -> datetime | None:
    """When an address may get something unasked again; None where it may now.

    `sent_at`: when earlier messages of any kind went there. Any 7 days hold at most `most_per_week`.
    """
    lately = sorted(at for at in sent_at if at > now - WEEK)
    if len(lately) < most_per_week:
        return None
    return lately[-most_per_week] + WEEK
