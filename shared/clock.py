"""Time: the one place that reads the clock, and local days turned into instants and back.

Instants are stored in UTC. A working day is a local date in the yard's IANA zone; minutes of the day are real
minutes since that day's local midnight, so a day has 1380, 1440 or 1500 of them. A wall-clock time that does not
exist (spring forward) is read as the same distance after midnight, one that exists twice as its first occurrence.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


def now() -> datetime:
    """The present instant in UTC. Only edges and `now=` defaults at the edges call this."""
    return datetime.now(UTC)


def local_date(zone: str, at: datetime) -> date:
    """The date that the calendar on the wall shows in `zone` at the instant `at`."""
    return at.astimezone(ZoneInfo(zone)).date()


def midnight(day: date, zone: str) -> datetime:
    """The instant (UTC) at which `day` begins in `zone`."""
    return datetime.combine(day, time(), tzinfo=ZoneInfo(zone)).astimezone(UTC)


def at_minute(day: date, minute: int, zone: str) -> datetime:
    """The instant (UTC) `minute` real minutes after local midnight of `day`."""
    return midnight(day, zone) + timedelta(minutes=minute)


def minute_of(at: datetime, day: date, zone: str) -> int:
    """Whole real minutes from local midnight of `day` to `at`; negative before it."""
    return int((at - midnight(day, zone)).total_seconds() // 60)


def minute_of_wall_clock(day: date, clock: time, zone: str) -> int:
    """The minute of the day at which clocks in `zone` show `clock`."""
    return minute_of(datetime.combine(day, clock, tzinfo=ZoneInfo(zone)).astimezone(UTC), day, zone)


def wall_clock_at(day: date, minute: int, zone: str) -> datetime:
    """The instant (UTC) at which clocks in `zone` show `minute` minutes after midnight of `day`."""
    hours, minutes = divmod(minute, 60)
    return datetime.combine(day, time(hours, minutes), tzinfo=ZoneInfo(zone)).astimezone(UTC)
