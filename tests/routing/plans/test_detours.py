"""The driving that a visit would add to the routes of the coming weeks."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.customers.models import Property
from jobs.reminders.domain.choosing import DETOUR_UNIT_MINUTES, ON_THE_WAY
from jobs.work.models import JobWindow
from routing.plans.models import Crew
from routing.plans.selectors.detours import AT_ONCE, CLOSE_METRES, added_minutes
from routing.plans.selectors.learning import learnt_table
from routing.plans.selectors.near import FIRST_DAYS_AHEAD
from routing.plans.selectors.traffic import usual_drive_hours
from shared.geo import great_circle_metres
from tests import factories

TODAY = date(2026, 6, 1)
DAY = TODAY + timedelta(days=FIRST_DAYS_AHEAD)
ROAD = (-82.0, -81.96, -81.92)  # of three stops in a line, some three kilometres and a half apart


def at(latitude: float, longitude: float) -> Property:
    return factories.make_property(latitude=latitude, longitude=longitude)


def planned(*, longitudes: tuple[float, ...] = ROAD, on: date = DAY) -> Crew:
    crew = factories.make_crew()
    factories.make_planned_day(
        (crew, [factories.make_job(property=at(40.05, each)) for each in longitudes]), work_date=on
    )
    return crew


def added(*places: Property) -> dict[int, int]:
    return added_minutes(places=places, today=TODAY, weeks=2)


@pytest.mark.django_db
def test_on_the_way_costs_less_than_off_it_and_far_out_is_left_out() -> None:
    planned()
    between, aside, far = at(40.05, -81.98), at(40.07, -81.98), at(40.4, -81.4)
    found = added(between, aside, far)
    assert set(found) == {between.pk, aside.pk}
    assert 0 <= found[between.pk] < found[aside.pk]


@pytest.mark.django_db
def test_the_order_of_the_route_counts_and_not_the_air_alone() -> None:
    """Two places as far from their nearest stop: the one between two stops costs less than the one behind the last."""
    planned()
    between, behind = at(40.05, ROAD[2] - 0.02), at(40.05, ROAD[2] + 0.02)
    found = added(between, behind)
    assert found[between.pk] < found[behind.pk]


@pytest.mark.django_db
def test_yesterday_and_tomorrow_bring_nobody_near() -> None:
    planned(on=TODAY - timedelta(days=1))
    planned(on=TODAY + timedelta(days=1))
    planned(on=TODAY + timedelta(days=15))
    assert added(at(40.05, -81.98)) == {}


@pytest.mark.django_db
def test_a_promised_job_counts_as_a_drive_there_and_back() -> None:
    """Next door to a promise that is in no plan yet; and a promise that is called off brings nobody."""
    factories.make_yard()
    job = factories.make_job(property=at(40.05, -82.0))
    JobWindow.objects.create(job=job, first_date=DAY, last_date=DAY, promised=True)
    beside = at(40.0505, -82.0)
    assert added(beside)[beside.pk] <= 1
    job.state = "called_off"
    job.save()
    assert added(beside) == {}


@pytest.mark.django_db
def test_a_place_without_a_place_is_left_out() -> None:
    planned()
    assert added(factories.make_property(latitude=None, longitude=None)) == {}


@pytest.mark.django_db
def test_the_queries_do_not_grow_with_routes_or_properties(django_assert_max_num_queries: object) -> None:
    for _number in range(3):
        planned()
    places = [at(40.05 + number / 10_000, -81.98) for number in range(AT_ONCE)]
    with django_assert_max_num_queries(12):  # type: ignore[operator]
        assert len(added(*places)) == AT_ONCE


@pytest.mark.django_db(transaction=True)
@settings(max_examples=15)
@given(st.lists(st.tuples(st.integers(-250, 250), st.integers(-250, 250)), min_size=1, max_size=8))
def test_it_is_the_least_over_every_gap(offsets: list[tuple[int, int]]) -> None:
    """Against all gaps of all routes, counted one by one."""
    crew = Crew.objects.first() or planned()
    stops = [(40.05, each) for each in ROAD]
    home = (crew.yard.latitude, crew.yard.longitude)
    for north, east in offsets:
        place = Property(pk=1, latitude=40.05 + north / 10_000, longitude=-81.96 + east / 10_000)
        here = (place.latitude or 0.0, place.longitude or 0.0)
        points = list(dict.fromkeys([home, *stops, here]))
        drive = learnt_table(crew.yard, points, usual_drive_hours(crew.yard, TODAY)).minutes
        route = [points.index(each) for each in (home, *stops, home)]
        new = points.index(here)
        gaps = [
            (drive[a][new] or 0) + (drive[new][b] or 0) - (drive[a][b] or 0)
            for a, b in zip(route, route[1:], strict=False)
        ]
        metres = min(great_circle_metres(*here, *stop) for stop in stops)
        expected = max(0, min(gaps)) if metres <= CLOSE_METRES else None
        assert added_minutes(places=[place], today=TODAY, weeks=2).get(1) == expected


def test_close_is_as_far_as_a_detour_counts() -> None:
    """Three kilometres and back at town speed are a quarter of an hour, beyond which nearness counts for nothing."""
    there_and_back_km = 2 * CLOSE_METRES / 1_000 * 1.25
    assert there_and_back_km / 30 * 60 == pytest.approx(ON_THE_WAY * DETOUR_UNIT_MINUTES, rel=0.05)
