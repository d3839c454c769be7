"""Drive times learnt from booked days."""

import json
from datetime import date, datetime, timedelta
from io import StringIO
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core.management import call_command
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.models import Visit
from routing.plans.domain.learning import (
    LEAST_PERCENT,
    MOST_PERCENT,
    SHRINK_TRIPS,
    DayFactors,
    Factor,
    Trip,
    factor_of,
    scaled,
)
from routing.plans.models import LearntDrive, Yard
from routing.plans.selectors import day_problem
from routing.plans.services.learning import drives_learn, learnt_drives_use
from routing.roads.domain import DriveTable, GreatCircle
from routing.roads.selectors import DriveHours
from shared.events.models import Event
from tests.factories import make_crew, make_job, make_property, make_user, make_yard

ZONE = ZoneInfo("America/New_York")
TUESDAY = date(2026, 6, 2)
TRIPS = st.lists(st.builds(Trip, st.integers(0, 300), st.integers(-60, 300)), max_size=60)


# --- the factor ---


def test_many_equal_trips_are_believed_and_few_are_not() -> None:
    """All drives take half as long again. ln 1.5 = 0.405; with 20 of them half counts: e^0.203 = 1.22."""
    few, even, many = ([Trip(10, 15)] * count for count in (1, SHRINK_TRIPS, 400 * SHRINK_TRIPS))
    assert [factor_of(trips).factor_percent for trips in (few, even, many)] == [102, 122, 150]
    assert all(factor_of(trips).median_percent == 150 for trips in (few, even, many))


def test_nothing_booked_changes_nothing() -> None:
    """No trip, and trips that cannot be drives: booked at the same minute, before, hours later, or next door."""
    assert factor_of([]) == Factor(trips=0)
    assert factor_of([Trip(10, 0), Trip(10, -5), Trip(10, 500), Trip(1, 9)]) == Factor(trips=0)


def test_the_interval_is_that_of_the_median_by_order_statistics() -> None:
    """For 9 values the 2nd and the 8th hold the median with 96.1 % (binomial, n = 9, p = 1/2: 1 - 2 * 10/512)."""
    found = factor_of([Trip(100, 100 + k) for k in range(1, 10)])
    assert (found.low_percent, found.median_percent, found.high_percent) == (102, 105, 108)


@given(TRIPS)
def test_a_factor_stays_within_its_bounds(trips: list[Trip]) -> None:
    """Between the bounds, between 1 and the median, inside the interval's words, whatever was booked."""
    found = factor_of(trips)
    assert LEAST_PERCENT <= found.factor_percent <= MOST_PERCENT
    if found.median_percent is None:
        assert (found.trips, found.factor_percent) == (0, 100)
    else:
        assert min(100, found.median_percent) <= max(found.factor_percent, LEAST_PERCENT)
        assert (found.low_percent is None) == (found.high_percent is None) == (found.trips < 5)
        assert found.low_percent is None or found.low_percent <= found.median_percent <= found.high_percent
        assert abs(found.factor_percent - 100) <= abs(found.median_percent - 100)


@given(TRIPS, st.randoms())
def test_the_order_of_trips_does_not_matter(trips: list[Trip], random: Any) -> None:
    shuffled = trips[:]
    random.shuffle(shuffled)
    assert factor_of(shuffled) == factor_of(trips)


@given(st.lists(st.integers(50, 150), min_size=11, max_size=60), st.integers(1, 180))
def test_one_wrong_mark_does_not_move_the_median_far(taken: list[int], wrong: int) -> None:
    """With one trip more, whatever it says, the median stays between the middle values' neighbours."""
    logs = sorted(taken)
    found = factor_of([*(Trip(100, minutes) for minutes in taken), Trip(100, wrong)])
    low, high = logs[len(logs) // 2 - 1], logs[min(len(logs) - 1, len(logs) // 2 + 1)]
    assert low - 1 <= found.median_percent <= high + 1


@given(
    st.integers(2, 5).flatmap(lambda n: st.lists(st.lists(st.none() | st.integers(0, 90), min_size=n, max_size=n),
                                                 min_size=n, max_size=n)),
    st.integers(50, 200), st.integers(50, 200), st.integers(50, 200),
)  # fmt: skip
def test_a_scaled_table_keeps_what_cannot_be_driven(cells: list, leaving: int, between: int, returning: int) -> None:
    """Rows of the yard, columns of the yard, and the rest, each by its factor, rounded up; metres stay."""
    minutes = tuple(map(tuple, cells))
    table = DriveTable(minutes, minutes, "roads")
    found = scaled(table, DayFactors(leaving, between, returning))
    assert found.metres == minutes
    for a, row in enumerate(minutes):
        for b, cell in enumerate(row):
            percent = leaving if a == 0 else returning if b == 0 else between
            now = found.minutes[a][b]
            assert (now is None) == (cell is None)
            assert cell is None or cell * percent <= 100 * now < cell * percent + 100
    assert found.source == ("roads" if leaving == between == returning == 100 else "roads; learnt")


# --- from booked days to plans ---


def at(day: date, hour: int, minute: int) -> datetime:
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=ZONE)


@pytest.fixture
def yard() -> Yard:
    return make_yard(code="north")


@pytest.fixture
def booked(yard: Yard) -> int:
    """Forty mornings with one drive of twice the estimated time; returns the estimated minutes of that drive."""
    crew = make_crew(yard=yard, code="heron")
    here, there = make_property(latitude=40.0, longitude=-82.0), make_property(latitude=40.1, longitude=-82.0)
    expected = GreatCircle().table([(40.0, -82.0), (40.1, -82.0)]).minutes[0][1]
    for back in range(1, 41):
        day = TUESDAY - timedelta(days=7 * back)
        finished = at(day, 10, 0)
        for place, arrived in (
            (here, finished - timedelta(hours=2)),
            (there, finished + timedelta(minutes=2 * expected)),
        ):
            Visit.objects.create(
                job=make_job(property=place, state="done"), work_date=day, crew_code=crew.code, arrived_at=arrived,
                started_at=arrived, finished_at=arrived + timedelta(hours=2), on_site_minutes=120, recorded_at=arrived,
            )  # fmt: skip
    return expected


@pytest.mark.django_db
def test_learning_from_visits(yard: Yard, booked: int) -> None:
    """Forty drives at midday took twice as long: ln 2 * 40/60 = 0.462, so 159 %; the estimates know no hours."""
    (row,) = drives_learn(yard=yard, until=TUESDAY)
    assert (row.hours, row.trips, row.median_percent, row.factor_percent) == ("midday", 40, 200, 159)
    drives_learn(yard=yard, until=TUESDAY)
    assert LearntDrive.objects.count() == 1
    assert drives_learn(yard=make_yard(), until=TUESDAY) == []


@pytest.mark.django_db
def test_plans_use_it_only_where_it_is_switched_on(yard: Yard, booked: int) -> None:
    """Drives between stops are longer by the factor; what was learnt before does not teach itself."""
    for latitude in (40.02, 40.2):
        make_job(
            property=make_property(latitude=latitude, longitude=-82.0),
            windows=[{"first_date": TUESDAY, "last_date": TUESDAY, "start_minute": 0, "end_minute": 1439}],
        )
    drives_learn(yard=yard, until=TUESDAY)
    plain = day_problem(yard=yard, work_date=TUESDAY, now=at(TUESDAY, 5, 0))
    learnt_drives_use(yard=yard, use=True)
    learnt = day_problem(yard=yard, work_date=TUESDAY, now=at(TUESDAY, 5, 0))
    before, now = plain.problem.drive_minutes[1][2], learnt.problem.drive_minutes[1][2]
    assert now == -(-before * 159 // 100)
    assert learnt.problem.drive_metres == plain.problem.drive_metres
    assert learnt.drive_source.endswith("; learnt")
    (row,) = drives_learn(yard=yard, until=TUESDAY)
    assert row.factor_percent == 159


@pytest.mark.django_db
def test_other_yards_and_hours_are_not_touched(yard: Yard) -> None:
    from routing.plans.selectors.learning import learnt_factors

    LearntDrive.objects.create(
        yard=yard, hours="midday", from_minute=540, trips=9, factor_percent=120, fitted_at=at(TUESDAY, 1, 0)
    )
    hours = DriveHours(TUESDAY, 450, 720, 1_000)
    assert learnt_factors(yard, hours).is_plain
    learnt_drives_use(yard=yard, use=True)
    assert learnt_factors(yard, hours) == DayFactors(between=120)
    assert learnt_factors(make_yard(), hours).is_plain
    assert learnt_factors(yard, None).is_plain


# --- page, API, command ---


def signed_in(role: str) -> Client:
    client = Client()
    client.force_login(make_user(role=role))
    return client


@pytest.mark.django_db
def test_the_owners_page(yard: Yard, booked: int, assert_query_count: Any) -> None:
    """Trips, median and factor; the switch is an event. Nobody else's."""
    drives_learn(yard=yard, until=TUESDAY)
    owner = signed_in("owner")
    with assert_query_count("learnt drives"):
        page = owner.get("/drives/").content.decode()
    assert "200%" in page
    assert "159%" in page
    assert ">40<" in page
    owner.post("/drives/north/use/", {"use": "yes"})
    yard.refresh_from_db()
    assert yard.uses_learnt_drives
    assert Event.objects.filter(kind="yard.learnt_drives_used").exists()
    owner.post("/drives/north/use/", {"use": "no"})
    yard.refresh_from_db()
    assert not yard.uses_learnt_drives
    assert signed_in("office").get("/drives/").status_code == 403


@pytest.mark.django_db
@time_machine.travel(at(TUESDAY, 6, 0), tick=False)
def test_the_api_and_the_command(yard: Yard, booked: int) -> None:
    """The same figures; the switch by both; a yard that is none is said."""
    out = StringIO()
    call_command("learn_drives", "--use", "--json", stdout=out)
    told = json.loads(out.getvalue())
    assert told["used"] is True
    client = signed_in("owner")
    answer = client.get("/api/yards/north/learnt-drives/").json()
    assert answer["hours"][0]["factor_percent"] == told["hours"][0]["factor_percent"] == 159
    changed = client.put("/api/yards/north/learnt-drives/", {"used": False}, content_type="application/json")
    assert changed.json()["used"] is False
    assert client.put("/api/yards/north/learnt-drives/", {}, content_type="application/json").status_code == 400
    assert client.get("/api/yards/none/learnt-drives/").status_code == 404
    assert signed_in("office").get("/api/yards/north/learnt-drives/").status_code == 403
    words = StringIO()
    call_command("learn_drives", stdout=words)
    assert "midday: 40 drives, median 200 %" in words.getvalue()
