"""The page of a wall: its readings, and a new one by the office."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
import time_machine

from jobs.walkthroughs.models import ChalkReading
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def today() -> Any:
    with time_machine.travel("2026-06-02T16:00:00Z", tick=False):
        yield


def test_closed_to_crew_leads(client_of: Any, crew_lead: Any) -> None:
    """They read chalk at their own stops."""
    assert client_of(crew_lead).get(f"/walls/{factories.make_wall().pk}/").status_code == 403


def test_readings_newest_first(client_of: Any, office: Any, assert_query_count: Any) -> None:
    """Each with its day; in a few queries."""
    wall = factories.make_wall(name="south wall")
    for month, reading in ((3, 1), (5, "2.5"), (4, 2)):
        factories.make_reading(wall=wall, read_on=date(2026, month, 1), reading=reading, read_by=office)
    with assert_query_count("wall"):
        page = client_of(office).get(f"/walls/{wall.pk}/").content.decode()
    assert page.index("May 1") < page.index("Apr 1") < page.index("Mar 1")
    assert "2.5 of 5" in page


def test_a_new_reading(client_of: Any, office: Any) -> None:
    """Written down with who and when; a day to come and a value off the scale come back in words."""
    wall = factories.make_wall()
    client, address = client_of(office), f"/walls/{wall.pk}/"
    client.post(address, {"reading": "3.5", "read_on": "2026-06-01", "days_since_rain": 2, "note": "by the door"})
    row = ChalkReading.objects.get()
    assert (row.reading, row.read_on, row.days_since_rain, row.read_by) == (
        Decimal("3.5"), date(2026, 6, 1), 2, office,
    )  # fmt: skip
    later = client.post(address, {"reading": "3", "read_on": "2026-06-03"})
    assert (later.status_code, "not come yet" in later.content.decode()) == (422, True)
    for reading in ("2.25", "6", ""):
        assert client.post(address, {"reading": reading, "read_on": "2026-06-01"}).status_code == 422
    assert ChalkReading.objects.count() == 1
    assert client.get("/walls/999/").status_code == 404
