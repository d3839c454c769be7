"""Figures as people read them."""

import re
from datetime import date

import pytest
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from shared.web import words


@pytest.mark.parametrize(
    ("cents", "text"),
    [(123_450, "$1,234.50"), (0, "$0.00"), (-5, "-$0.05"), (None, "–"), (99.5, "$1.00")],
)
def test_money(cents: int | None, text: str) -> None:
    """Cents become an amount; nothing becomes a dash."""
    assert words.money_words(cents) == text


@given(st.integers(-(10**12), 10**12))
def test_money_can_be_read_back(cents: int) -> None:
    """No cent is lost between the figure and its text."""
    text = words.money_words(cents)
    assert int(re.sub(r"[^0-9-]", "", text)) == cents


@pytest.mark.parametrize(
    ("minutes", "text"),
    [(80, "1 h 20 min"), (45, "45 min"), (120, "2 h"), (0, "0 min"), (-65, "-1 h 5 min"), (None, "–"), (59.5, "1 h")],
)
def test_hours(minutes: int | None, text: str) -> None:
    """Minutes become hours and minutes; empty parts are left out."""
    assert words.hours_words(minutes) == text


@given(st.integers(0, 100_000))
def test_hours_can_be_read_back(minutes: int) -> None:
    """No minute is lost."""
    found = re.fullmatch(r"(?:(\d+) h)? ?(?:(\d+) min)?", words.hours_words(minutes))
    assert int(found.group(1) or 0) * 60 + int(found.group(2) or 0) == minutes


@pytest.mark.parametrize(
    ("minute", "text"),
    [
        (485, "8:05 am"),
        (0, "12:00 am"),
        (720, "12:00 pm"),
        (1439, "11:59 pm"),
        (1445, "12:05 am (next day)"),
        (-5, "11:55 pm (day before)"),
        (None, "–"),
    ],
)
def test_clock_time(minute: int | None, text: str) -> None:
    """Minutes after midnight become what a clock shows; another day is named."""
    assert words.clock_words(minute) == text


@pytest.mark.parametrize(
    ("metres", "text"),
    [(5500, "3.4 mi"), (0, "0.0 mi"), (1609.344 * 100, "100 mi"), (2_000_000, "1,243 mi"), (None, "–")],
)
def test_miles(metres: float | None, text: str) -> None:
    """Metres become miles of 1609.344 m."""
    assert words.miles_words(metres) == text


@pytest.mark.parametrize(
    ("e164", "country", "text"),
    [
        ("+16145550123", "US", "(614) 555-0123"),
        ("+16145550123", "DE", "+1 614-555-0123"),
        ("", "US", "–"),
        ("not a number", "US", "not a number"),
    ],
)
def test_phone(e164: str, country: str, text: str) -> None:
    """Numbers of the firm's own country come without the country's code."""
    assert words.phone_words(e164, country) == text


@given(st.text())
def test_phone_never_fails(text: str) -> None:
    """Whatever is stored is shown."""
    assert words.phone_words(text)


def test_day_in_two_languages() -> None:
    """The weekday comes with the date, in the reader's language and order."""
    day = date(2026, 11, 25)
    with translation.override("en"):
        assert words.day_words(day) == "Wed, Nov 25, 2026"
    with translation.override("es"):
        assert words.day_words(day) == "mié 25 de noviembre de 2026"
    assert words.day_words(None) == "–"


@pytest.mark.parametrize(
    ("share", "digits", "text"), [(0.125, 0, "13%"), (0.125, 1, "12.5%"), (None, 0, "–"), (-0.05, 0, "-5%")]
)
def test_percent(share: float | None, digits: int, text: str) -> None:
    """A share of one becomes percent."""
    assert words.percent_words(share, digits) == text
