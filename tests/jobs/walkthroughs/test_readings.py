"""Chalk readings: the scale, the newest of each wall, the history that stays."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.walkthroughs.domain import is_on_scale, must_be_shown
from jobs.walkthroughs.models import ChalkReading
from jobs.walkthroughs.selectors import latest_readings, reading_list
from jobs.walkthroughs.services import reading_record
from shared.errors import Refused
from shared.events.append_only import AppendOnlyError
from shared.events.selectors import event_list
from tests import factories

DAY = date(2026, 6, 2)


# ISO 4628-1:2016, clause 3: grades 0 to 5, half steps allowed where the parties agree.
@pytest.mark.parametrize(
    ("reading", "allowed"), [("0", True), ("2.5", True), ("5", True), ("2.25", False), ("-1", False), ("5.5", False)]
)
def test_the_scale_of_iso_4628_1(reading: str, allowed: bool) -> None:
    """The general scheme's examples: whole and half grades from 0 to 5."""
    assert is_on_scale(Decimal(reading)) == allowed


@given(st.decimals(allow_nan=False, allow_infinity=False, places=3, min_value=-10, max_value=10))
def test_half_steps_only(reading: Decimal) -> None:
    """A reading is on the scale exactly when twice it is a whole number from 0 to 10."""
    doubled = reading * 2
    assert is_on_scale(reading) == (doubled == doubled.to_integral_value() and 0 <= doubled <= 10)


def test_from_two_on_it_is_shown() -> None:
    """One and a half is written down; two is shown to the homeowner."""
    assert (must_be_shown(Decimal("1.5")), must_be_shown(Decimal(2))) == (False, True)


@pytest.mark.django_db
def test_a_reading_keeps_method_and_scale(crew_lead: Any) -> None:
    """Who read what, how and on which scale; and a line in the wall's history."""
    wall = factories.make_wall()
    row = reading_record(wall=wall, reading=Decimal("2.5"), read_on=DAY, today=DAY, days_since_rain=3, actor=crew_lead)
    assert (row.reading, row.method, row.scale, row.read_by) == (Decimal("2.5"), "finger_test", "field-0-5", crew_lead)
    assert event_list(subject=wall).get().kind == "chalk.read"


@pytest.mark.django_db
@pytest.mark.parametrize("reading", ["2.25", "-0.5", "5.5", "NaN"])
def test_off_the_scale_is_refused(reading: str) -> None:
    """Nothing is stored of a reading that cannot be."""
    with pytest.raises(Refused, match="half steps"):
        reading_record(wall=factories.make_wall(), reading=Decimal(reading), read_on=DAY, today=DAY)
    assert not ChalkReading.objects.exists()


@pytest.mark.django_db
def test_tomorrow_cannot_be_read() -> None:
    """A reading is of today or earlier."""
    with pytest.raises(Refused, match="not come yet"):
        reading_record(wall=factories.make_wall(), reading=Decimal(1), read_on=date(2026, 6, 3), today=DAY)


@pytest.mark.django_db
@pytest.mark.parametrize("day", [date(26, 6, 2), date.min, date(1989, 12, 31)])
def test_a_slip_of_the_year_is_refused(day: date, client_of: Any, office: Any) -> None:
    """A date field lets one type the year 26: the reading would stay for ever, and no chart could be drawn."""
    wall = factories.make_wall()
    with pytest.raises(Refused, match="four digits"):
        reading_record(wall=wall, reading=Decimal(2), read_on=day, today=DAY)
    page = client_of(office).post(f"/walls/{wall.pk}/", {"reading": "2", "read_on": day.isoformat()})
    assert (page.status_code, "four digits" in page.content.decode()) == (422, True)
    with pytest.raises(Refused, match="four digits"):
        factories.make_walkthrough(walked_on=day)
    assert not ChalkReading.objects.exists()


@pytest.mark.django_db
def test_the_newest_reading_of_each_wall(django_assert_num_queries: Any) -> None:
    """By day, then by order of writing; walls never read are left out; one query."""
    first, second, never = (factories.make_wall() for _ in range(3))
    factories.make_reading(wall=first, read_on=date(2026, 5, 1), reading=3)
    factories.make_reading(wall=first, read_on=date(2026, 4, 1), reading=1)
    factories.make_reading(wall=second, read_on=date(2026, 5, 1), reading=2)
    corrected = factories.make_reading(wall=second, read_on=date(2026, 5, 1), reading=4)
    with django_assert_num_queries(1):
        latest = latest_readings([first.pk, second.pk, never.pk])
    assert {wall: reading.reading for wall, reading in latest.items()} == {first.pk: 3, second.pk: corrected.reading}
    assert [row.reading for row in reading_list(wall=first)] == [3, 1]


@pytest.mark.django_db
def test_readings_are_never_changed() -> None:
    """A correction is a new row."""
    row = factories.make_reading()
    row.reading = Decimal(1)
    with pytest.raises(AppendOnlyError):
        row.save()
