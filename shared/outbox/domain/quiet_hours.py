"""The hours in which people may be written to: 8:00 to 21:00 where they are, and no holiday.

47 CFR 64.1200(c)(1) forbids telephone solicitations before 8 a.m. or after 9 p.m., local time at the called party's
location (checked 2026-11-25; not legal advice). We keep the same hours for reminders by email, as a matter of manners.
The last second is 20:59:59, a hair stricter than the rule's words. Keeping off holidays is our own manners.
"""

from collections.abc import Container
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

OPENS = time(8)
CLOSES = time(21)


def is_open(at: datetime, zone: str, holidays: Container[date] = ()) -> bool:
    """Whether clocks in `zone` show 8:00:00 to 20:59:59 at the instant `at`, on a day that is no holiday."""
    local = at.astimezone(ZoneInfo(zone))
    return OPENS <= local.time() < CLOSES and local.date() not in holidays


def next_open(at: datetime, zone: str, holidays: Container[date] = ()) -> datetime:
    """The first instant (UTC), `at` or later, that is inside the hours of `zone`."""
    if is_open(at, zone, holidays):
        return at.astimezone(UTC)
    local = at.astimezone(ZoneInfo(zone))
    day = local.date() if local.time() < OPENS else local.date() + timedelta(days=1)
    while day in holidays:
        day += timedelta(days=1)
    return datetime.combine(day, OPENS, tzinfo=ZoneInfo(zone)).astimezone(UTC)
