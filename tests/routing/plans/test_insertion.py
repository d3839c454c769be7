"""The share of driving at a place: from the days planned lately, or the best that is known, and it says which."""

from datetime import date, timedelta

import pytest

from pricing.estimates.domain.driving import there_and_back_share
from routing.plans.selectors.insertion import drive_share_at
from routing.roads.services import drive_table
from tests import factories

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 2)


def planned(days: int) -> None:
    """The same two stops on several days, one at 40.05 north, one east of it."""
    crew = factories.make_crew()
    jobs = [
        factories.make_job(property=factories.make_property(latitude=40.05, longitude=longitude))
        for longitude in (-82.0, -81.95)
    ]
    for number in range(days):
        factories.make_planned_day((crew, jobs), work_date=DAY - timedelta(days=number))


def test_beside_a_usual_stop_it_is_less_than_far_out() -> None:
    """From four planned days, named as such; a place between the stops bears less than one far beyond."""
    planned(4)
    near = factories.make_property(latitude=40.051, longitude=-81.98)
    far = factories.make_property(latitude=40.4, longitude=-81.4)
    shares = [drive_share_at(place=place, today=DAY) for place in (near, far)]
    assert [(share.basis, share.days) for share in shares] == [("days", 4)] * 2
    assert 0 <= shares[0].minutes < shares[1].minutes
    assert shares[0].metres < shares[1].metres
    assert shares[0].source


def test_the_own_stops_do_not_count() -> None:
    """A property that stood on the routes itself is looked at as if it had not."""
    crew, place = factories.make_crew(), factories.make_property(latitude=40.2)
    factories.make_planned_day((crew, [factories.make_job(property=place)]), work_date=DAY)
    assert drive_share_at(place=place, today=DAY).basis == "there_and_back"


def test_without_planned_days_there_and_back() -> None:
    """A third of the drive from the yard and back."""
    yard = factories.make_yard()
    place = factories.make_property(latitude=40.1, longitude=-82.1)
    table = drive_table([(yard.latitude, yard.longitude), (40.1, -82.1)])
    share = drive_share_at(place=place, today=DAY)
    assert (share.basis, share.minutes) == (
        "there_and_back", there_and_back_share(table.minutes[0][1] or 0, table.minutes[1][0] or 0),
    )  # fmt: skip


def test_without_a_place_the_average_of_what_was_booked() -> None:
    """Twelve minutes on one job, twenty-eight over two lines on another: twenty; nothing booked: not known."""
    place = factories.make_property(latitude=None, longitude=None)
    unknown = drive_share_at(place=place, today=DAY)
    assert (unknown.basis, unknown.minutes) == ("unknown", 0)
    factories.make_earning(drive_minutes=12)
    for minutes in (8, 20):
        factories.make_earning(drive_minutes=minutes, job_ref=99)
    booked = drive_share_at(place=place, today=DAY)
    assert (booked.basis, booked.minutes) == ("booked", 20)


def test_the_queries_do_not_grow_with_the_days(django_assert_num_queries: object) -> None:
    planned(3)
    place = factories.make_property(latitude=40.1)
    with django_assert_num_queries(4):
        drive_share_at(place=place, today=DAY)
