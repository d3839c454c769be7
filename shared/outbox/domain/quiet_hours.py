"""The hours in which people may be written to: 8:00 to 21:00 where they are.

47 CFR 64.1200(c)(1) forbids telephone solicitations before 8 a.m. or after 9 p.m., local time at the called party's
location (checked 2026-11-25; not legal advice). We keep the same hours for reminders by email, as a matter of manners.
The last second is 20:59:59, a hair stricter than the rule's words.
"""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

OPENS = time(8)
CLOSES = time(21)


def is_open(at: datetime, zone: str) -> bool:
    """Whether clocks in `zone` show 8:00:00 to 20:59:59 at the instant `at`."""
    return OPENS <= at.astimezone(ZoneInfo(zone)).time() < CLOSES


def next_open(at: datetime, zone: str) -> datetime:
    """The first instant (UTC), `at` or later, that is inside the hours of `zone`."""
    if is_open(at, zone):
        return at.astimezone(UTC)
    local = at.astimezone(ZoneInfo(zone))
    day = local.date() if local.time() < OPENS else local.date() + timedelta(days=1)
    return datetime.combine(day, OPENS, tzinfo=ZoneInfo(zone)).astimezone(UTC)
