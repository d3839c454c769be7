"""The owner's table of speeds by hour: page, API, command, and what drive times make of it."""

import json
from datetime import date, datetime
from io import StringIO
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from routing.plans.models import ShiftPattern
from routing.roads.domain.speeds import (
    DEFAULT_HOURS,
    LONGEST_NAME,
    MOST_HOURS,
    HourClass,
    TableFault,
    hour_class_at,
    table_fault,
)
from routing.roads.forms import PERCENTS
from routing.roads.models import DriveRow, TrafficHours
from routing.roads.selectors import DriveHours, traffic_hours
from routing.roads.services.build import roads_build
from routing.roads.services.drive import drive_table
from routing.roads.services.traffic import traffic_hours_restore, traffic_hours_set
from shared.errors import Refused, Stale
from shared.events.models import Event
from tests.factories import make_crew, make_user, make_yard
from tests.routing.roads.streets import Streets, at

TUESDAY = date(2026, 6, 2)
MONDAY_MORNING = datetime(2026, 6, 1, 6, 0, tzinfo=ZoneInfo("America/New_York"))
DAY = HourClass("day", 360, (50, 50, 50, 50))
NIGHT = HourClass("night", 1_200, (100, 100, 100, 100))
SHARE = st.integers(10, 150)
NAMES = st.sampled_from([*(f"{letter}{n}" for letter in "aB" for n in range(15)), "b0"])
HOURS = st.builds(HourClass, NAMES, st.integers(0, 1439), st.tuples(SHARE, SHARE, SHARE, SHARE))


# --- the table itself ---


@given(st.lists(HOURS, max_size=30))
def test_a_table_without_fault_answers_for_each_minute_with_one_row(hours: list[HourClass]) -> None:
    """Names and beginnings once each, whatever their case; then every minute has the row that began last."""
    fault = table_fault(hours)
    names, begins = {hour.name.casefold() for hour in hours}, {hour.from_minute for hour in hours}
    sound = 0 < len(hours) <= MOST_HOURS and len(names) == len(begins) == len(hours)
    assert (fault is None) == sound
    if sound:
        for minute in (0, 359, 360, 1439):
            before = [hour for hour in hours if hour.from_minute <= minute] or hours
            assert hour_class_at(tuple(hours), minute) == max(before, key=lambda hour: hour.from_minute)


def test_each_fault_is_named_with_its_row() -> None:
    twin = HourClass("DAY", 400, DAY.percent)
    late = HourClass("late", 360, DAY.percent)
    many = [HourClass(f"h{k}", k, DAY.percent) for k in range(MOST_HOURS + 1)]
    assert table_fault([]) == (TableFault.EMPTY, None)
    assert table_fault([DAY, twin]) == (TableFault.SAME_NAME, twin)
    assert table_fault([DAY, late]) == (TableFault.SAME_BEGINNING, late)
    assert table_fault(many) == (TableFault.TOO_MANY, many[-1])
    assert table_fault(DEFAULT_HOURS) is None


@pytest.mark.django_db
def test_a_table_that_is_none_changes_nothing() -> None:
    traffic_hours_set(hours=[DAY], seen_version=1)
    with pytest.raises(Refused, match="Two rows begin at 6:00 am"):
        traffic_hours_set(hours=[DAY, HourClass("noon", 360, DAY.percent)], seen_version=2)
    with pytest.raises(Refused, match="at least one row"):
        traffic_hours_set(hours=[], seen_version=2)
    assert traffic_hours() == (DAY,)
    assert Event.objects.filter(kind="roads.traffic.changed").count() == 1


@pytest.mark.django_db
def test_who_saw_an_older_table_does_not_overwrite_the_newer() -> None:
    traffic_hours_set(hours=[DAY], seen_version=1)
    with pytest.raises(Stale):
        traffic_hours_set(hours=[NIGHT], seen_version=1)
    with pytest.raises(Stale):
        traffic_hours_restore(seen_version=1)
    assert traffic_hours() == (DAY,)
    traffic_hours_restore(seen_version=2)
    assert traffic_hours() == DEFAULT_HOURS


# --- what drive times make of it ---


@pytest.fixture
def street(tmp_path: Path) -> list[tuple[float, float]]:
    """A street of 6 km, driven at 60 km/h: 2 km from B to C take 2 minutes where it is free. The map is in use."""
    streets = Streets(points={"A": (0, 0), "B": (2_000, 0), "C": (4_000, 0), "D": (6_000, 0)})
    streets.way("ABCD")
    roads_build(path=streets.write(tmp_path / "street.osm.pbf"))
    return [at((1_000, 0)), at((2_000, 0)), at((4_000, 0))]


@pytest.mark.django_db
def test_a_changed_table_changes_the_next_drive_times(street: list[tuple[float, float]]) -> None:
    """At half the speed 2 km take 4 minutes, at a quarter 8; what was kept of the table before is not used again."""
    hours = DriveHours(TUESDAY, 420, 720, 1_000)
    assert drive_table(street, hours=hours).minutes[1][2] == 3  # the starting values: 2 min / 95 %, rounded up
    traffic_hours_set(hours=[DAY, NIGHT], seen_version=1)
    assert drive_table(street, hours=hours).minutes[1][2] == 4
    assert set(DriveRow.objects.values_list("speeds", flat=True)) == {DAY.key}
    traffic_hours_set(hours=[HourClass("day", 360, (25, 25, 25, 25)), NIGHT], seen_version=2)
    assert drive_table(street, hours=hours).minutes[1][2] == 8
    assert DAY.key not in set(DriveRow.objects.values_list("speeds", flat=True))
    traffic_hours_restore(seen_version=3)
    assert drive_table(street, hours=hours).minutes[1][2] == 3


# --- page, API, command ---


def signed_in(role: str) -> Client:
    client = Client()
    client.force_login(make_user(role=role))
    return client


def form_of(*rows: tuple[str, ...], seen: int = 1) -> dict[str, Any]:
    fields: dict[str, Any] = {"form-TOTAL_FORMS": len(rows) + 1, "form-INITIAL_FORMS": 0, "seen": seen}
    for number, row in enumerate(rows):
        fields |= {
            f"form-{number}-{name}": value for name, value in zip(("name", "begins", *PERCENTS), row, strict=True)
        }
    return fields


@pytest.fixture
def yard(db: None) -> Any:
    yard = make_yard(code="north", name="North yard")
    crew = make_crew(yard=yard)
    ShiftPattern.objects.filter(crew=crew).delete()
    ShiftPattern.objects.create(crew=crew, weekday=1, start_minute=420, end_minute=960)
    return yard


@time_machine.travel(MONDAY_MORNING, tick=False)
def test_the_owners_page(yard: Any, assert_query_count: Any) -> None:
    """The starting values and where they come from; Tuesday's crews leave at 7:00 in the row that began at 6:30."""
    owner = signed_in("owner")
    with assert_query_count("traffic hours"):
        page = owner.get("/traffic/").content.decode()
    assert "common practice, no source" in page
    assert 'value="06:30"' in page
    assert "North yard, 2026-06-02" in page
    stored = owner.post("/traffic/", form_of(("all day", "00:00", "60", "55", "50", "45")), follow=True)
    page = stored.content.decode()
    assert traffic_hours() == (HourClass("all day", 0, (60, 55, 50, 45)),)
    assert "your own" in page
    assert page.count(">all day</td>") == 3
    owner.post("/traffic/restore/", {"seen": 2})
    assert not TrafficHours.objects.exists()
    assert signed_in("office").get("/traffic/").status_code == 403


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (("day", "06:00", "5", "50", "50", "50"), "greater than or equal to 10"),
        (("day", "06:00", "50", "151", "50", "50"), "less than or equal to 150"),
        (("day", "", "50", "50", "50", "50"), "take the name out"),
        (("day", "25:00", "50", "50", "50", "50"), "valid time"),
        (("day", "06:00", "50", "50", "fast", "50"), "whole number"),
        (("d" * (LONGEST_NAME + 1), "06:00", "50", "50", "50", "50"), "at most 40 characters"),
        (("", "", "", "", "", ""), "at least one row"),
    ],
)
def test_what_is_wrong_stands_on_the_page_and_nothing_typed_is_lost(
    yard: Any, row: tuple[str, ...], words: str
) -> None:
    """The table of before stays; the other row that was typed is still there."""
    fine = ("evening", "16:10", "81", "82", "83", "84") if row[0] else ("", "16:10", "81", "82", "83", "84")
    answer = signed_in("owner").post("/traffic/", form_of(row, fine))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert 'value="81"' in page
    assert not TrafficHours.objects.exists()


def test_two_owners_at_once(yard: Any) -> None:
    """The second one is told, keeps what was typed, and the first one's table stays."""
    owner = signed_in("owner")
    owner.post("/traffic/", form_of(("first", "00:00", "60", "60", "60", "60")))
    answer = owner.post("/traffic/", form_of(("second", "00:00", "70", "71", "72", "73")))
    assert answer.status_code == 412
    assert "changed meanwhile" in answer.content.decode()
    assert 'value="second"' in answer.content.decode()
    for seen in ("", "x", "-1", "9" * 40, "²"):
        assert (
            owner.post("/traffic/", form_of(("third", "00:00", "70", "71", "72", "73")) | {"seen": seen}).status_code
            == 412
        )
    assert [hour.name for hour in traffic_hours()] == ["first"]


@pytest.mark.django_db
def test_the_api() -> None:
    """Read, change under If-Match, restore; faults as problem details."""
    client, url = signed_in("owner"), "/api/roads/traffic-hours/"
    first = client.get(url)
    assert first.json()["is_default"] is True
    assert first.json()["hours"][1] == {
        "name": "morning", "from_minute": 390, "motorway_percent": 80, "main_percent": 75, "street_percent": 90,
        "last_mile_percent": 100,
    }  # fmt: skip
    row = {"name": "day", "from_minute": 0, **dict.fromkeys(PERCENTS, 70)}

    def put(hours: Any, tag: str) -> Any:
        return client.put(url, {"hours": hours}, content_type="application/json", headers={"If-Match": tag})

    stored = put([row], first["ETag"])
    assert stored.json() == {"is_default": False, "hours": [row]}
    assert put([row], first["ETag"]).status_code == 412
    assert client.put(url, {"hours": [row]}, content_type="application/json").status_code == 428
    tag = stored["ETag"]
    assert put([row, row], tag).status_code == 422
    assert put([row | {"street_percent": 9}], tag).status_code == 400
    assert put([row | {"from_minute": 1_440}], tag).status_code == 400
    assert put([{"name": "day"}], tag).status_code == 400
    assert put([], tag).status_code == 422
    assert client.get(url).json()["hours"] == [row]
    assert client.delete(url, headers={"If-Match": tag}).json() == first.json()
    assert signed_in("office").get(url).status_code == 403


@pytest.mark.django_db
def test_the_command() -> None:
    """Shows, changes, restores; a row that cannot be read changes nothing."""
    words = StringIO()
    call_command("traffic_hours", stdout=words)
    assert "common practice, no source" in words.getvalue()
    assert "06:30" in words.getvalue()
    call_command("traffic_hours", "--row", "day", "06:00", "50", "51", "52", "53", stdout=words)
    assert traffic_hours() == (HourClass("day", 360, (50, 51, 52, 53)),)
    for row in (("day", "25:00", "50", "50", "50", "50"), ("day", "06:00", "5", "50", "50", "50")):
        with pytest.raises(CommandError, match="Nothing was changed"):
            call_command("traffic_hours", "--row", *row)
    same = ("--row", "a", "06:00", "50", "50", "50", "50")
    with pytest.raises(CommandError, match="Two rows"):
        call_command("traffic_hours", *same, *same)
    out = StringIO()
    call_command("traffic_hours", "--restore", "--json", stdout=out)
    told = json.loads(out.getvalue())
    assert told["is_default"] is True
    assert [hour["name"] for hour in told["hours"]] == [hour.name for hour in DEFAULT_HOURS]
