"""Next due dates are counted in calendar months from the day of the work."""

from calendar import monthrange
from datetime import date

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.domain.intervals import months_after, next_due

DAYS = st.dates(min_value=date(1990, 1, 1), max_value=date(2090, 12, 31))
MONTHS = st.integers(min_value=0, max_value=240)


@pytest.mark.parametrize(
    ("anchor", "months", "expected"),
    [
        (date(2026, 1, 31), 1, date(2026, 2, 28)),
        (date(2026, 1, 31), 2, date(2026, 3, 31)),
        (date(2028, 1, 31), 1, date(2028, 2, 29)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2024, 2, 29), 48, date(2028, 2, 29)),
        (date(2026, 10, 31), 6, date(2027, 4, 30)),
        (date(2026, 12, 15), 1, date(2027, 1, 15)),
    ],
)
def test_month_ends_are_clamped(anchor: date, months: int, expected: date) -> None:
    """A day that the month does not have becomes its last one."""
    assert months_after(anchor, months) == expected


@given(DAYS, MONTHS)
def test_agrees_with_dateutil(anchor: date, months: int) -> None:
    """The same answer as one relativedelta from the anchor."""
    assert months_after(anchor, months) == anchor + relativedelta(months=months)


@given(DAYS, MONTHS)
def test_never_drifts(anchor: date, months: int) -> None:
    """However far ahead, the day is the anchor's or the month's last: clamping once is not carried on."""
    day = months_after(anchor, months)
    assert day.day == min(anchor.day, monthrange(day.year, day.month)[1])
    assert (day.year - anchor.year) * 12 + day.month - anchor.month == months


@given(DAYS, DAYS, MONTHS)
def test_keeps_the_order_of_days(one: date, other: date, months: int) -> None:
    """Work done later is never due earlier."""
    early, late = sorted((one, other))
    assert months_after(early, months) <= months_after(late, months)


def test_never_done_is_never_due() -> None:
    """Without work on record there is no date to count from."""
    assert next_due(None, 12) is None
