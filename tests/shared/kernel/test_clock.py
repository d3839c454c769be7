"""Local days and instants, over the two days of the year that are not 24 hours long."""

from datetime import UTC, date, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import clock

NEW_YORK = "America/New_York"


@pytest.mark.parametrize(
    ("day", "hours"),
    [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25), (date(2026, 6, 1), 24)],
)
def test_days_have_23_24_or_25_hours(day: date, hours: int) -> None:
    """US clocks change on the second Sunday of March and the first of November (15 USC 260a)."""
    tomorrow = day + timedelta(days=1)
    assert clock.midnight(tomorrow, NEW_YORK) - clock.midnight(day, NEW_YORK) == timedelta(hours=hours)


def test_eight_o_clock_on_the_spring_day_is_seven_hours_in() -> None:
    """Clocks skip 2:00 to 3:00, so 8:00 is 420 real minutes after midnight."""
    assert clock.minute_of_wall_clock(date(2026, 3, 8), time(8), NEW_YORK) == 420
    assert clock.minute_of_wall_clock(date(2026, 11, 1), time(8), NEW_YORK) == 540
    assert clock.minute_of_wall_clock(date(2026, 6, 1), time(8), NEW_YORK) == 480


def test_a_time_that_exists_twice_is_its_first() -> None:
    """1:30 on the autumn day: the first one, 90 minutes in."""
    assert clock.minute_of_wall_clock(date(2026, 11, 1), time(1, 30), NEW_YORK) == 90


@given(
    st.dates(date(2020, 1, 1), date(2035, 12, 31)),
    st.integers(0, 1379),
    st.sampled_from([NEW_YORK, "America/Phoenix", "UTC", "Europe/Berlin"]),
)
def test_minutes_and_instants_go_both_ways(day: date, minute: int, zone: str) -> None:
    """An instant made from a minute of the day gives the minute back, and lies on that local date."""
    at = clock.at_minute(day, minute, zone)
    assert at.tzinfo is UTC
    assert clock.minute_of(at, day, zone) == minute
    assert clock.local_date(zone, at) == day
