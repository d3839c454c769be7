"""Hours that people write (as clocks show them) against minutes that plans use (real, since local midnight)."""

from datetime import date, time, timedelta
from zoneinfo import ZoneInfo

from shared import clock

MINUTES_OF_A_CLOCK = 24 * 60


def real_minute(day: date, wall_minute: int, zone: str) -> int:
    """The real minute of `day` at which clocks show `wall_minute`; beyond 1439 it is the next morning's clock."""
    days, rest = divmod(wall_minute, MINUTES_OF_A_CLOCK)
    shown = time(rest // 60, rest % 60)
    if not days:
        return clock.minute_of_wall_clock(day, shown, zone)
    after = day + timedelta(days=days)
    return clock.minute_of(clock.at_minute(after, clock.minute_of_wall_clock(after, shown, zone), zone), day, zone)


def wall_minute(day: date, minute: int, zone: str) -> int:
    """What clocks show `minute` real minutes after local midnight, as minutes of the clock (over 1439: next day)."""
    shown = clock.at_minute(day, minute, zone).astimezone(ZoneInfo(zone))
    return (shown.date() - day).days * MINUTES_OF_A_CLOCK + shown.hour * 60 + shown.minute


def clock_text(day: date, minute: int, zone: str) -> str:
    """A real minute of the day as a wall clock says it: "8:05 am"."""
    shown = wall_minute(day, minute, zone) % MINUTES_OF_A_CLOCK
    return f"{(shown // 60 - 1) % 12 + 1}:{shown % 60:02d} {'am' if shown < 720 else 'pm'}"
