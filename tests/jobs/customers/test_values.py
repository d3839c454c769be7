"""Values as people write them: what is read, and what is asked about."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.customers.domain.cells import BadCell
from jobs.customers.domain.dates import DateOrder, infer_order, read_date
from jobs.customers.domain.faults import Fault
from jobs.customers.domain.hours import Window, read_span, read_windows, windows_as_written
from jobs.customers.domain.numbers import read_area, read_count, read_minutes, read_money, read_price
from jobs.customers.domain.outfiles import guard, unguard
from jobs.customers.domain.values import (
    phone_as_written,
    read_coordinate,
    read_email,
    read_phone,
    read_postal_code,
    read_text,
    read_yes_no,
)

DAY = dt.date(2026, 5, 4)
REFUSED = "refused"


def outcome(result):
    """The value, or REFUSED; a fault must always say what to do."""
    if isinstance(result, Fault):
        assert result.problem_text()
        assert result.advice_text()
        return REFUSED
    return result


@pytest.mark.parametrize(
    ("written", "order", "meant"),
    [
        ("2026-05-04", None, DAY),
        ("2026/5/4", None, DAY),
        ("2026.05.04", None, DAY),
        ("20260504", None, DAY),
        ("2026-05-04T10:30:00Z", None, DAY),
        ("4 May 2026", None, DAY),
        ("May 4, 2026", None, DAY),
        ("May 4th, 2026", None, DAY),
        ("4-May-26", None, DAY),
        ("Mon, May 4, 2026", None, DAY),
        ("4 de mayo de 2026", None, DAY),
        ("5/13/2026", None, dt.date(2026, 5, 13)),
        ("13.5.2026", None, dt.date(2026, 5, 13)),
        ("5/13/26 2:30 PM", None, dt.date(2026, 5, 13)),
        ("5/5/2026", None, dt.date(2026, 5, 5)),
        ("5/4/2026", None, REFUSED),
        ("5/4/2026", DateOrder.MONTH_FIRST, DAY),
        ("4/5/2026", DateOrder.DAY_FIRST, DAY),
        ("5/4/2026", DateOrder.CONTRADICTORY, REFUSED),
        ("13/5/2026", DateOrder.MONTH_FIRST, REFUSED),
        ("5/4/99", DateOrder.MONTH_FIRST, dt.date(1999, 5, 4)),
        ("5-4-26", DateOrder.MONTH_FIRST, REFUSED),
        ("2026-02-30", None, REFUSED),
        ("31/31/2026", None, REFUSED),
        ("5/4", DateOrder.MONTH_FIRST, REFUSED),
        ("last spring", None, REFUSED),
        ("May 2026", None, REFUSED),
        ("46146", None, REFUSED),
        (46146, None, DAY),  # the day number that spreadsheets store for 4 May 2026
        (46146.75, None, DAY),
        (3, None, REFUSED),
        (float("nan"), None, REFUSED),
        (True, None, REFUSED),
        (dt.datetime(2026, 5, 4, 9, 0), None, DAY),
        (DAY, None, DAY),
        (dt.date(1899, 12, 31), None, REFUSED),
        ("", None, None),
        (None, None, None),
        ("5/4/2026\x00", DateOrder.MONTH_FIRST, REFUSED),
        (BadCell("=A1", "p", "w"), None, REFUSED),
    ],
)
def test_dates(written, order, meant):
    """Each way of writing a date is read, or asked about where it could be two days."""
    assert outcome(read_date(written, "Date", order=order)) == meant


@pytest.mark.parametrize(
    ("cells", "order"),
    [
        (["5/4/2026", "13/4/2026"], DateOrder.DAY_FIRST),
        (["5/4/2026", "4/13/2026", None, 7, "x"], DateOrder.MONTH_FIRST),
        (["13/4/2026", "4/13/2026"], DateOrder.CONTRADICTORY),
        (["5/4/2026", "2026-05-13", "32/1/2026"], None),
    ],
)
def test_a_column_gives_its_order_away(cells, order):
    """A day above 12 in one place decides for the whole column; both places decide nothing."""
    assert infer_order(cells) is order


@given(st.dates(dt.date(1950, 1, 1), dt.date(2100, 12, 31)), st.sampled_from(list(DateOrder)[:2]))
def test_a_date_written_in_the_declared_order_is_read_back(date, order):
    """Whatever the date, writing it in the declared order and reading it gives the same day."""
    month_first = f"{date.month}/{date.day}/{date.year}"
    written = month_first if order is DateOrder.MONTH_FIRST else f"{date.day}/{date.month}/{date.year}"
    assert read_date(written, "Date", order=order) == date


@pytest.mark.parametrize(
    ("written", "currency", "cents"),
    [
        ("$1,234.50", "USD", 123_450),
        ("1.234,50 €", "EUR", 123_450),
        ("1.234,50", "USD", 123_450),
        ("1 234,50", "EUR", 123_450),
        ("300", "USD", 30_000),
        ("$300.5", "USD", 30_050),
        ("(45.00)", "USD", -4_500),
        ("-$45", "USD", -4_500),
        ("45-", "USD", -4_500),
        ("USD 45", "USD", 4_500),
        (".5", "USD", 50),
        ("1,234", "USD", 123_400),  # grouped as in the company's country
        ("1.234", "EUR", 123_400),
        ("1.234", "USD", REFUSED),  # a thousand or one and a bit?
        ("1,234", "EUR", REFUSED),
        ("1,234,567.89", "USD", REFUSED),  # more than a job can cost
        ("12,34,567", "USD", REFUSED),
        ("1.2.3", "USD", REFUSED),
        ("45 €", "USD", REFUSED),  # nothing is exchanged
        ("$45", "EUR", REFUSED),
        ("$45", "CAD", 4_500),
        ("300-400", "USD", REFUSED),
        ("300/visit", "USD", REFUSED),
        ("free", "USD", REFUSED),
        ("--5", "USD", REFUSED),
        ("(-5)", "USD", REFUSED),
        ("1e5", "USD", REFUSED),
        (300, "USD", 30_000),
        (333.333333, "USD", 33_333),
        (1.005, "USD", 101),
        (float("inf"), "USD", REFUSED),
        (float("nan"), "USD", REFUSED),
        (True, "USD", REFUSED),
        (" ", "USD", None),
    ],
)
def test_money(written, currency, cents):
    """Signs, separators of both traditions, parentheses; what could be two amounts is asked about."""
    assert outcome(read_money(written, "Price", currency=currency)) == cents


def test_a_price_is_not_below_zero():
    """A negative price is a refund or a slip, and neither is imported."""
    assert outcome(read_price("(45.00)", "Price")) == REFUSED
    assert read_price("45.00", "Price") == 4_500


@given(st.integers(0, 99_999_999))
def test_money_written_with_groups_and_cents_is_read_back(cents):
    """Any amount, written as in the US and as on the continent, is read to the cent."""
    us = f"{cents // 100:,}.{cents % 100:02d}"
    assert read_money(f"${us}", "Price") == cents
    euro = us.translate(str.maketrans(",.", ".,"))
    assert read_money(f"{euro} €", "Price", currency="EUR") == cents


@pytest.mark.parametrize(
    ("written", "unit", "sqft"),
    [
        ("1,800 sq ft", "", 1_800),
        ("1800sf", "", 1_800),
        ("1800", "", 1_800),
        (1800, "", 1_800),
        (1800.4, "", 1_800),
        ("170 m2", "", 1_830),
        ("170 m²", "", 1_830),
        ("170", "m2", 1_830),
        ("170 sqm", "m2", 1_830),
        ("1,800 sq ft", "m2", 1_800),
        ("40x60", "", REFUSED),
        ("1.800", "", REFUSED),
        ("about 1800", "", REFUSED),
        ("0", "", REFUSED),
        ("99999999", "", REFUSED),
        ("", "", None),
    ],
)
def test_areas(written, unit, sqft):
    """Square feet and square metres, by the cell's unit first and the heading's else."""
    assert outcome(read_area(written, "Sq Ft", unit=unit)) == sqft


@pytest.mark.parametrize(
    ("written", "unit", "minutes"),
    [
        ("90", "", 90),
        ("90 min", "", 90),
        ("1.5 h", "", 90),
        ("1,5 hrs", "", 90),
        ("1 h 30", "", 90),
        ("1h30m", "", 90),
        ("1:30", "", 90),
        ("1.5", "h", 90),
        (1.5, "h", 90),
        (dt.time(1, 30), "", 90),
        (dt.timedelta(hours=1, minutes=30), "", 90),
        ("a morning", "", REFUSED),
        ("-5", "", REFUSED),
        (None, "", None),
    ],
)
def test_minutes(written, unit, minutes):
    """Lengths of time in minutes, hours, both, and as a spreadsheet's time."""
    assert outcome(read_minutes(written, "Time", unit=unit)) == minutes


@pytest.mark.parametrize(
    ("written", "least", "most", "count"),
    [
        ("2", 1, 4, 2),
        (2.0, 1, 4, 2),
        ("1,200", 0, 5000, 1200),
        ("5", 1, 4, REFUSED),
        ("2.5", 1, 4, REFUSED),
        ("two", 1, 4, REFUSED),
    ],
)
def test_counts(written, least, most, count):
    """Whole numbers within their bounds."""
    assert outcome(read_count(written, "Stories", least=least, most=most)) == count


@pytest.mark.parametrize(
    ("written", "region", "number"),
    [
        ("(614) 555-0123", "US", "+16145550123"),
        ("614.555.0123", "US", "+16145550123"),
        (6145550123.0, "US", "+16145550123"),
        ("555-555-0142", "US", "+15555550142"),  # kept free for examples: possible, though no range in use
        ("+44 20 7946 0123", "US", "+442079460123"),
        ("020 7946 0123", "GB", "+442079460123"),
        ("555-0123", "US", REFUSED),  # the area code is missing
        ("614 555 0123 x12", "US", REFUSED),
        ("614 555 0123 ext. 12", "US", REFUSED),
        ("12", "US", REFUSED),
        ("call Ann", "US", REFUSED),
        ("614 555 0123 / 614 555 0124", "US", REFUSED),
        ("", "US", ""),
    ],
)
def test_telephone_numbers(written, region, number):
    """E.164 by the company's region; a number that cannot be dialled as it stands is asked about."""
    assert outcome(read_phone(written, "Phone", region=region)) == number


@given(st.integers(2_000_000_000, 9_999_999_999))
def test_a_number_as_written_is_read_back(digits):
    """What an export writes for a stored number gives the same number again."""
    stored = f"+1{digits}"
    written = phone_as_written(stored, region="US")
    if outcome(read_phone(stored, "Phone", region="US")) != REFUSED:
        assert read_phone(written, "Phone", region="US") == stored


@pytest.mark.parametrize(
    ("written", "address"),
    [
        ("Ann@Example.com", "ann@example.com"),
        ("mailto:ann@example.com", "ann@example.com"),
        ("ann@example", REFUSED),
        ("ann@example.com, bob@example.com", REFUSED),
        ("Ann <ann@example.com>", REFUSED),
        ("a" * 300 + "@example.com", REFUSED),
        ("", ""),
    ],
)
def test_mail_addresses(written, address):
    """One address, in lower case."""
    assert outcome(read_email(written, "Email")) == address


@pytest.mark.parametrize(
    ("written", "answer"),
    [("Yes", True), ("x", True), ("sí", True), (True, True), (1.0, True), ("✓", True), ("No", False), (False, False),
     ("0", False), ("", None), ("maybe", REFUSED)],
)  # fmt: skip
def test_yes_and_no(written, answer):
    """The usual marks of both languages; anything else is asked about."""
    assert outcome(read_yes_no(written, "OK")) == answer


@pytest.mark.parametrize(
    ("written", "country", "region", "code"),
    [
        ("43210", "US", "OH", "43210"),
        (43210.0, "US", "OH", "43210"),
        ("432101234", "US", "OH", "43210-1234"),
        ("43210-1234", "US", "OH", "43210-1234"),
        (2139, "US", "MA", "02139"),  # the spreadsheet dropped the zero
        (4321, "US", "OH", REFUSED),
        ("K1A 0B1", "CA", "ON", "K1A 0B1"),
        ("K1A 0B1", "US", "", REFUSED),
        ("", "US", "", ""),
    ],
)
def test_postal_codes(written, country, region, code):
    """ZIP codes keep their zeros; a lost one is put back only where the state's codes begin with one."""
    assert outcome(read_postal_code(written, "Zip", country=country, region=region)) == code


@pytest.mark.parametrize(
    ("written", "limit", "degrees"),
    [("-83.0123", 180, -83.0123), (40.5, 90, 40.5), ("40,5", 90, 40.5), ("91", 90, REFUSED), ("north", 90, REFUSED),
     ("nan", 90, REFUSED), ("", 90, None)],
)  # fmt: skip
def test_coordinates(written, limit, degrees):
    """Decimal degrees within the globe."""
    assert outcome(read_coordinate(written, "Lat", limit=limit)) == degrees


@pytest.mark.parametrize(
    ("written", "span"),
    [
        ("8-10", (480, 600)),
        ("8:00 am - 10:00 am", (480, 600)),
        ("8–10 am", (480, 600)),
        ("9-12 pm", (540, 720)),
        ("1-3 pm", (780, 900)),
        ("13:00-15:30", (780, 930)),
        ("1-3", REFUSED),
        ("11-1", REFUSED),
        ("10-8", REFUSED),
        ("25-26", REFUSED),
        ("morning", REFUSED),
        ("", None),
    ],
)
def test_hours_of_the_day(written, span):
    """Arrival windows as they are written; an hour that could be morning or afternoon is asked about."""
    assert outcome(read_span(written, "Window")) == span


windows = st.builds(
    lambda first, days, start, length: Window(first, first + dt.timedelta(days=days), start, min(start + length, 1439)),
    st.dates(dt.date(2000, 1, 1), dt.date(2099, 1, 1)),
    st.integers(0, 40),
    st.integers(0, 1439),
    st.integers(0, 1439),
)


@given(st.sets(windows, max_size=5))
def test_possible_days_as_written_are_read_back(some):
    """Any set of windows, written into one cell and read again, is the same set."""
    written = windows_as_written(list(some), promised=False)
    read = read_windows(written, "Days", order=None, span=None, promised=False)
    assert set(read) == some


@pytest.mark.parametrize(
    "written", ["2026-05-06..2026-05-04", "2026-05-04..05", "soon", "2026-05-04 to 2026-05-06 to 2026-05-08"]
)
def test_days_that_are_none_are_refused(written):
    """Backwards and half-written stretches are asked about."""
    assert outcome(read_windows(written, "Days", order=None, span=None, promised=False)) == REFUSED


def test_a_promise_names_single_days():
    """A stretch of days is no promise."""
    assert outcome(read_windows("2026-05-04..2026-05-06", "Promised", order=None, span=None, promised=True)) == REFUSED


@given(st.text())
def test_guarded_cells_come_back(text):
    """No text that we write begins a formula, and reading takes off exactly what writing put on."""
    written = guard(text)
    assert unguard(written) == text
    plain_number = written[1:].replace(".", "", 1).isascii() and written[1:].replace(".", "", 1).isdecimal()
    assert not written.startswith(("=", "+", "@", "\t", "\r"))
    assert not written.startswith("-") or plain_number


@given(st.one_of(st.text(), st.floats(), st.integers(), st.booleans(), st.none(), st.datetimes(), st.times()))
def test_no_reader_ever_breaks(cell):
    """Whatever stands in a cell, every reader answers a value or a fault with advice."""
    for result in (
        read_text(cell, "c", limit=40),
        read_text(cell, "c", limit=4000, lines=True),
        read_yes_no(cell, "c"),
        read_email(cell, "c"),
        read_phone(cell, "c", region="US"),
        read_postal_code(cell, "c", country="US"),
        read_coordinate(cell, "c", limit=90),
        read_money(cell, "c"),
        read_money(cell, "c", currency="EUR"),
        read_area(cell, "c", unit="m2"),
        read_count(cell, "c"),
        read_minutes(cell, "c", unit="h"),
        read_date(cell, "c"),
        read_date(cell, "c", order=DateOrder.DAY_FIRST),
        read_span(cell, "c"),
        read_windows(cell, "c", order=None, span=None, promised=False),
    ):
        outcome(result)
