"""Drive times learnt from booked days."""

import json
from datetime import date, datetime, timedelta
from io import StringIO
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import time_machine
from django.core.management import call_command
from django.test import Client
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.customers.models import Property
from jobs.work.models import Visit
from pricing.estimates.domain.driving import there_and_back_share
from routing.plans.domain.learning import (
    LEAST_PERCENT,
    MOST_FIXED,
    MOST_PERCENT,
    SHRINK_TRIPS,
    DayFactors,
    Factor,
    Gap,
    Packing,
    Trip,
    factor_of,
    packing_of,
    scaled,
    without_breaks,
)
from routing.plans.models import LearntDrive, LearntPacking, ShiftPattern, Yard
from routing.plans.selectors import day_problem
from routing.plans.selectors.insertion import drive_share_at
from routing.plans.services.learning import drives_learn, learnt_drives_use
from routing.roads.domain import DriveTable, GreatCircle
from routing.roads.domain.speeds import DEFAULT_HOURS, HourClass
from routing.roads.selectors import DriveHours
from routing.roads.services.traffic import traffic_hours_set
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


# --- the part that every drive has ---


def drives_of(seed: int, *, fixed: int, factor: float, count: int = 300, wrong: float = 0.0) -> list[Trip]:
    """Drives with a known truth: the road's 3 to 40 minutes times the factor, scattered by a tenth, and the fixed
    part; a share of them is an hour too long."""
    rng = np.random.default_rng(seed)
    road = rng.integers(3, 41, count)
    taken = fixed + factor * road * rng.lognormal(0, 0.1, count) + 60 * (rng.random(count) < wrong)
    return [Trip(int(a), int(b)) for a, b in zip(road, np.rint(taken), strict=True)]


@given(st.integers(0, 2**32), st.integers(0, 12), st.floats(0.8, 1.5), st.sampled_from([0.0, 0.1]))
@settings(max_examples=25, deadline=None)
def test_what_is_known_to_be_true_is_found_again(seed: int, fixed: int, factor: float, wrong: float) -> None:
    """300 drives, a tenth of them marked wrong or none: the fixed part within 2 minutes and, since what it lacks goes
    to the road, the factor within 15 percent, but both together within 8 percent of a drive of 20 minutes."""
    trips = drives_of(seed, fixed=fixed, factor=factor, wrong=wrong)
    packing = packing_of(trips)
    found = factor_of(trips, packing.minutes)
    truth, told = fixed + 20 * factor, packing.minutes + 20 * found.factor_percent / 100
    assert abs(packing.minutes - fixed) <= 2
    assert abs(found.factor_percent / factor - 100) <= 15
    assert abs(told / truth - 1) <= 0.08


def test_taking_packing_up_for_driving_would_make_the_road_slow() -> None:
    """5 minutes of packing up on roads that are as the table says: 125 % if it were driving, 100 % as it is."""
    trips = [Trip(road, road + 5) for road in (10, 20, 30)] * 200
    assert factor_of(trips).median_percent == 125
    packing = packing_of(trips)
    assert (packing.minutes, packing.low_minutes, packing.high_minutes) == (5, 5, 5)
    assert factor_of(trips, packing.minutes).factor_percent == 100


def test_few_drives_and_drives_that_are_alike_tell_no_packing_up() -> None:
    """Twenty of them count half: 6 minutes become 3. Where each road is as long, nothing can be told apart."""
    assert packing_of([Trip(10, 16), Trip(20, 26)] * 10).minutes == 3
    assert packing_of([Trip(10, 16)] * 50) == Packing(trips=50)
    assert packing_of([]) == Packing(trips=0)


@given(TRIPS)
def test_packing_up_stays_within_its_bounds(trips: list[Trip]) -> None:
    found = packing_of(trips)
    assert 0 <= found.minutes <= MOST_FIXED
    assert found.trips == sum(trip.is_usable for trip in trips)
    assert (found.low_minutes is None) == (found.high_minutes is None)
    assert found.low_minutes is None or found.low_minutes <= found.high_minutes


def test_the_break_of_a_day_is_taken_out_of_one_gap() -> None:
    """Of two gaps with room for half an hour, the one with more to spare; none where no gap holds it."""
    gaps = [
        Gap("mon", Trip(10, 15)),
        Gap("mon", Trip(10, 41), 30),
        Gap("mon", Trip(10, 55), 30),
        Gap("tue", Trip(10, 39), 30),
        Gap("wed", Trip(10, 90)),
    ]
    assert [trip.taken_minutes for trip in without_breaks(gaps)] == [15, 41, 25, 39, 90]


@given(
    st.integers(2, 5).flatmap(lambda n: st.lists(st.lists(st.none() | st.integers(0, 90), min_size=n, max_size=n),
                                                 min_size=n, max_size=n)),
    st.integers(50, 200), st.integers(50, 200), st.integers(50, 200), st.integers(0, 20),
)  # fmt: skip
def test_a_scaled_table_keeps_what_cannot_be_driven(
    cells: list, leaving: int, between: int, returning: int, packing: int
) -> None:
    """Rows of the yard, columns of the yard, and the rest, each by its factor, rounded up; the fixed part where a drive
    begins at a stop; metres stay, and so do 0 and what cannot be driven."""
    minutes = tuple(map(tuple, cells))
    table = DriveTable(minutes, minutes, "roads")
    factors = DayFactors(leaving, between, returning, packing)
    found = scaled(table, factors)
    assert found.metres == minutes
    for a, row in enumerate(minutes):
        for b, cell in enumerate(row):
            percent = leaving if a == 0 else returning if b == 0 else between
            now = found.minutes[a][b]
            if not cell:
                assert now == cell
                continue
            road = now - (packing if a and not factors.is_plain else 0)
            assert cell * percent <= 100 * road < cell * percent + 100
    assert found.source == ("roads" if factors.is_plain else "roads; learnt")


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
        yard=yard, hours="midday", from_minute=540, speeds="95-85-95-100", trips=9, factor_percent=120,
        fitted_at=at(TUESDAY, 1, 0),
    )  # fmt: skip
    LearntPacking.objects.create(yard=yard, trips=9, minutes=4, fitted_at=at(TUESDAY, 1, 0))
    hours = DriveHours(TUESDAY, 450, 720, 1_000)
    assert learnt_factors(yard, hours).is_plain
    learnt_drives_use(yard=yard, use=True)
    assert learnt_factors(yard, hours) == DayFactors(between=120, packing_minutes=4)
    assert learnt_factors(make_yard(), hours).is_plain
    assert learnt_factors(yard, None).is_plain
    traffic_hours_set(hours=[HourClass("midday", 0, (50, 50, 50, 50))], seen_version=1)
    assert learnt_factors(yard, hours) == DayFactors(packing_minutes=4), "fitted against other speeds"


@pytest.mark.django_db
def test_estimates_reckon_with_the_same_drives(yard: Yard) -> None:
    """At twice the minutes and 4 more from each stop the share of driving of a new place grows like the plan's."""
    place = make_property(latitude=40.05, longitude=-82.0)
    ShiftPattern.objects.get_or_create(
        crew=make_crew(yard=yard), weekday=2, defaults={"start_minute": 450, "end_minute": 960}
    )
    plain = drive_share_at(place=place, today=TUESDAY)
    for hour in DEFAULT_HOURS:
        LearntDrive.objects.create(
            yard=yard, hours=hour.name, from_minute=hour.from_minute, speeds=hour.key, trips=9, factor_percent=200,
            fitted_at=at(TUESDAY, 1, 0),
        )  # fmt: skip
    LearntPacking.objects.create(yard=yard, trips=9, minutes=4, fitted_at=at(TUESDAY, 1, 0))
    assert drive_share_at(place=place, today=TUESDAY) == plain
    learnt_drives_use(yard=yard, use=True)
    learnt = drive_share_at(place=Property.objects.get(pk=place.pk), today=TUESDAY)
    one_way = GreatCircle().table([(yard.latitude, yard.longitude), (40.05, -82.0)]).minutes[0][1]
    assert plain.minutes == there_and_back_share(one_way, one_way)
    assert learnt.minutes == there_and_back_share(2 * one_way, 2 * one_way + 4)
    assert learnt.source.endswith("; learnt")


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
    assert answer["packing"]["minutes"] == told["packing"]["minutes"] == 0
    assert "packing up and parking: 40 drives, 0 min" in words.getvalue()
