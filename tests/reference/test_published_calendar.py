"""Published calendar cases: recurrence dates, states of an event, folding, month arithmetic, places.

RFC 5545 is "Internet Calendaring and Scheduling Core Object Specification" (2009), RFC 5870 the `geo` URI (2010).
The dates of the recurrence examples are printed in RFC 5545, section 3.8.5.3; several of its examples run on
without end, of which the first dates are taken.
"""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest
from dateutil.rrule import rrulestr
from icalendar import Calendar, Event
from icalendar.prop import vRecur

from jobs.work.domain.intervals import months_after
from routing.dispatch.selectors.sheets import geo_uri

NEW_YORK = ZoneInfo("America/New_York")

# (begin, rule, dates): RFC 5545, section 3.8.5.3.
RECURRENCES = {
    "second-last weekday of the month": (
        "1997-09-29", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
        "1997-09-29 1997-10-30 1997-11-27 1997-12-30 1998-01-29 1998-02-26 1998-03-30",
    ),
    "first Friday, ten times": (
        "1997-09-05", "FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
        "1997-09-05 1997-10-03 1997-11-07 1997-12-05 1998-01-02 1998-02-06 1998-03-06 1998-04-03 1998-05-01 1998-06-05",
    ),
    "every other week, weeks beginning on Monday": (
        "1997-08-05", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO",
        "1997-08-05 1997-08-10 1997-08-19 1997-08-24",
    ),
    "every other week, weeks beginning on Sunday": (
        "1997-08-05", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU",
        "1997-08-05 1997-08-17 1997-08-19 1997-08-31",
    ),
    "a day that February lacks is passed over": (
        "2007-01-15", "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5",
        "2007-01-15 2007-01-30 2007-02-15 2007-03-15 2007-03-30",
    ),
    "Friday the 13th": (
        "1997-09-02", "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13",
        "1998-02-13 1998-03-13 1998-11-13 1999-08-13 2000-10-13",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", RECURRENCES)
def test_recurrence_dates_of_rfc_5545(case: str) -> None:
    """The library that reads calendars agrees with the RFC's own dates, at nine in the morning on each."""
    begin, rule, expected = RECURRENCES[case]
    first = datetime.fromisoformat(f"{begin}T09:00").replace(tzinfo=NEW_YORK)
    dates = expected.split()
    found = [at for at, _ in zip(rrulestr(rule, dtstart=first), dates, strict=False)]
    assert [at.date().isoformat() for at in found] == dates
    assert all(at.hour == 9 for at in found)
    assert vRecur.from_ical(rule)["FREQ"] == [rule.split(";")[0].removeprefix("FREQ=")]


def test_service_intervals_clamp_where_recurrence_rules_skip() -> None:
    """RFC 5545 passes over 30 February; a property that was washed on the 30th is still due in February.

    Stepping a month from the 31st must not make a 1 October (a fault seen in public calendar servers) nor drift.
    """
    assert months_after(date(2007, 1, 30), 1) == date(2007, 2, 28)
    assert [months_after(date(2026, 8, 31), months) for months in (1, 2, 3)] == [
        date(2026, 9, 30),
        date(2026, 10, 31),
        date(2026, 11, 30),
    ]


@pytest.mark.parametrize("status", ["TENTATIVE", "CONFIRMED", "CANCELLED"])
def test_the_states_of_an_event(status: str) -> None:
    """RFC 5545, section 3.8.1.11: the three values of a VEVENT's STATUS go there and back."""
    event = Event()
    event.add("status", status)
    assert str(Event.from_ical(event.to_ical())["status"]) == status


def test_lines_are_folded_at_75_octets() -> None:
    """RFC 5545, section 3.1: longer lines are split by CRLF and a blank, never inside a character."""
    event = Event()
    event.add("summary", "é" * 200)
    raw = event.to_ical()
    assert all(len(line) <= 75 and line.decode() is not None for line in raw.split(b"\r\n"))
    assert str(Event.from_ical(raw)["summary"]) == "é" * 200


def test_text_is_escaped() -> None:
    """RFC 5545, section 3.3.11: backslash, semicolon, comma and line break, the RFC's own example of a text."""
    words = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    event = Event()
    event.add("description", words)
    printed = rb"DESCRIPTION:Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert printed in event.to_ical().replace(b"\r\n ", b"")
    event.add("summary", "a;b,c\\d")
    assert rb"SUMMARY:a\;b\,c\\d" in event.to_ical()


def test_a_calendar_needs_product_and_version() -> None:
    """RFC 5545, section 3.6: PRODID and VERSION are each required, and the file is read back."""
    calendar = Calendar()
    calendar.add("prodid", "-//ABC Corporation//NONSGML My Product//EN")
    calendar.add("version", "2.0")
    assert Calendar.from_ical(calendar.to_ical())["version"] == "2.0"


def test_geo_addresses() -> None:
    """RFC 5870, section 6.1: `geo:48.2010,16.3695` is latitude, then longitude (GeoJSON has them the other way)."""
    scheme, _, place = geo_uri(48.2010, 16.3695).partition(":")
    assert (scheme, [float(part) for part in place.split(",")]) == ("geo", [48.2010, 16.3695])
