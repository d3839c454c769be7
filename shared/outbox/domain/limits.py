"""How fast messages may leave, and how many may go to one address. The figures are settings; no source."""

from collections.abc import Sequence
from datetime import datetime, timedelta

MINUTE = timedelta(minutes=1)
WEEK = timedelta(days=7)
# Ticks come a little sooner or later than a minute after the last one. Where the pace lets the next message go so soon,
# it is worth the wait: at the next tick the minute would be lost.
WORTH_THE_WAIT = timedelta(seconds=5)


def room_this_minute(per_minute: int, left_in_last_minute: int) -> int:
    """How many more may leave now."""
    return max(0, per_minute - left_in_last_minute)


def openings(claimed_at: Sequence[datetime], *, per_minute: int, now: datetime) -> list[datetime]:
    """When the next `per_minute` messages may leave, the earliest first: `now`, or a minute after an earlier one left.

    `claimed_at`: when those left that count for the minute of `now`. No 60 seconds then hold more than `per_minute`.
    """
    room = room_this_minute(per_minute, len(claimed_at))
    return [now] * room + [max(now, at + MINUTE) for at in sorted(claimed_at)[room - per_minute :]]


def held_until(sent_at: Sequence[datetime], *, now: datetime, most_per_week: int) -> datetime | None:
    """When an address may get something unasked again; None where it may now.

    `sent_at`: when earlier messages of any kind went there. Any 7 days hold at most `most_per_week`.
    """
    lately = sorted(at for at in sent_at if at > now - WEEK)
    if len(lately) < most_per_week:
        return None
    return lately[-most_per_week] + WEEK
