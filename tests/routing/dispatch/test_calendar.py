"""The calendar feed: what was sent out, parsed back as a calendar program would."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from icalendar import Calendar

from routing.dispatch.models import CalendarFeed
from routing.dispatch.selectors.calendar import calendar_of
from routing.dispatch.services import feed_ensure, feed_renew, plan_send_out
from tests import factories

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 2, 12, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def today() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def crew() -> Any:
    return factories.make_crew(code="A", yard=factories.make_yard(code="north"))


def send(plan: Any) -> Any:
    return plan_send_out(plan=plan, expected_version=plan.version)


def events_of(crew: Any, now: datetime = NOW) -> dict[str, Any]:
    """By UID."""
    calendar = Calendar.from_ical(calendar_of(crew=crew, now=now))
    return {str(event["uid"]): event for event in calendar.walk("VEVENT")}


def test_a_stop_as_an_event(crew: Any) -> None:
    """UTC times, address, place, services, a stable id; no names, telephones or gate codes."""
    place = factories.make_property(
        street="14 Elm Street", gate_note="code 1234", customer=factories.make_customer(name="Ada Moss")
    )
    job = factories.make_job(property=place, note="key under the mat")
    send(factories.make_planned_day((crew, [job])))
    ((uid, event),) = events_of(crew).items()
    assert uid == f"north-20260602-A-job{job.pk}@wallday"
    # 7:40 and 9:40 am in New York, which is four hours behind UTC in June.
    assert event.decoded("dtstart") == datetime(2026, 6, 2, 11, 40, tzinfo=UTC)
    assert event.decoded("dtend") == datetime(2026, 6, 2, 13, 40, tzinfo=UTC)
    assert (str(event["summary"]), str(event["location"])) == (
        "14 Elm Street: House wash", "14 Elm Street, Sampleton, OH 00001",
    )  # fmt: skip
    assert (event["geo"].latitude, event["geo"].longitude) == (40.0, -82.0)
    assert (str(event["status"]), int(event["sequence"])) == ("CONFIRMED", 1)
    raw = calendar_of(crew=crew, now=NOW)
    assert b"DTSTART:20260602T114000Z" in raw
    for secret in (b"1234", b"Ada Moss", b"+1555", b"mat"):
        assert secret not in raw.replace(b"\r\n ", b"")


def test_only_what_was_sent_out(crew: Any) -> None:
    """Drafts and changes that were not sent are not in it, nor are other crews' stops."""
    jobs = [factories.make_job() for _ in range(3)]
    other = factories.make_crew(yard=crew.yard, code="B")
    plan = factories.make_planned_day((crew, jobs[:1]), (other, jobs[1:2]))
    assert events_of(crew) == {}
    send(plan)
    factories.set_routes(plan, (crew, [jobs[0], jobs[2]]), (other, jobs[1:2]))
    assert [uid.split("-")[-1] for uid in events_of(crew)] == [f"job{jobs[0].pk}@wallday"]


def test_a_dropped_stop_is_cancelled(crew: Any) -> None:
    """Same UID, higher SEQUENCE, STATUS CANCELLED (RFC 5545, 3.8.1.11 and 3.8.7.4); back again it is confirmed."""
    jobs = [factories.make_job() for _ in range(2)]
    plan = factories.make_planned_day((crew, jobs))
    send(plan)
    factories.set_routes(plan, (crew, jobs[:1]))
    send(plan)
    kept, dropped = (events_of(crew)[f"north-20260602-A-job{job.pk}@wallday"] for job in jobs)
    assert (str(kept["status"]), int(kept["sequence"])) == ("CONFIRMED", 2)
    assert (str(dropped["status"]), int(dropped["sequence"])) == ("CANCELLED", 2)
    factories.set_routes(plan, (crew, jobs))
    send(plan)
    back = events_of(crew)[f"north-20260602-A-job{jobs[1].pk}@wallday"]
    assert (str(back["status"]), int(back["sequence"])) == ("CONFIRMED", 3)


def test_a_crew_that_stays_in_the_yard(crew: Any) -> None:
    """All its stops are cancelled when the newest version has no route for it."""
    other = factories.make_crew(yard=crew.yard, code="B")
    job = factories.make_job()
    plan = factories.make_planned_day((crew, [job]))
    send(plan)
    factories.set_routes(plan, (other, [job]))
    send(plan)
    assert [str(event["status"]) for event in events_of(crew).values()] == ["CANCELLED"]
    assert [str(event["status"]) for event in events_of(other).values()] == ["CONFIRMED"]


def test_old_stops_leave_the_feed(crew: Any) -> None:
    """A month later they are gone."""
    send(factories.make_planned_day((crew, [factories.make_job()])))
    assert len(events_of(crew, NOW + timedelta(days=31))) == 1
    assert len(events_of(crew, NOW + timedelta(days=32))) == 0


def test_the_days_on_which_clocks_change(crew: Any) -> None:
    """450 real minutes after midnight on 8 March 2026 are 12:30 UTC: midnight was 5:00 UTC."""
    plan = factories.make_planned_day((crew, [factories.make_job()]), work_date=date(2026, 3, 8))
    send(plan)
    (event,) = events_of(crew, datetime(2026, 3, 8, 12, tzinfo=UTC)).values()
    assert event.decoded("dtstart") == datetime(2026, 3, 8, 12, 40, tzinfo=UTC)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow], max_examples=40, deadline=None
)
@given(
    street=st.text(
        st.characters(exclude_categories=["Cs", "Cc"]) | st.sampled_from('\n,;:\\"é漢🐶'), min_size=1, max_size=120
    )
)
def test_any_street_survives_the_way_there_and_back(street: str) -> None:
    """Folded at 75 octets or less, CRLF, no letter cut in two, commas and line breaks escaped (RFC 5545, 3.1)."""
    crew = factories.make_crew()
    job = factories.make_job(property=factories.make_property(street=street, postal_code=""))
    send(factories.make_planned_day((crew, [job])))
    raw = calendar_of(crew=crew, now=NOW)
    lines = raw.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert all(line.decode("utf-8") is not None and b"\n" not in line for line in lines)
    (event,) = events_of(crew).values()
    assert str(event["summary"]) == f"{street}: House wash"


# --- the address ---


def test_the_secret_address(crew: Any, office: Any) -> None:
    """No sign-in, the right type; a renewed address closes the old one, and the history says who did it."""
    send(factories.make_planned_day((crew, [factories.make_job()])))
    feed = feed_ensure(crew=crew)
    assert (feed_ensure(crew=crew).token, len(feed.token)) == (feed.token, 43)
    response = Client().get(f"/calendar/{feed.token}.ics")
    assert (response.status_code, response["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    assert b"BEGIN:VEVENT" in response.content
    renewed = feed_renew(crew=crew, actor=office)
    assert Client().get(f"/calendar/{feed.token}.ics").status_code == 404
    assert Client().get(f"/calendar/{renewed.token}.ics").status_code == 200
    assert CalendarFeed.objects.count() == 1


@pytest.mark.parametrize("token", ["x", "a" * 43, "..", "%00"])
def test_guesses_find_nothing(crew: Any, token: str) -> None:
    """A wrong address is not there, whatever it looks like."""
    feed_ensure(crew=crew)
    assert Client().get(f"/calendar/{token}.ics").status_code == 404


def test_the_feed_in_a_few_queries(crew: Any, assert_query_count: Any) -> None:
    """However many days and versions there are."""
    for day in range(2, 8):
        jobs = [factories.make_job() for _ in range(3)]
        plan = factories.make_planned_day((crew, jobs), work_date=date(2026, 6, day))
        send(plan)
        factories.set_routes(plan, (crew, jobs[:2]))
        send(plan)
    token = feed_ensure(crew=crew).token
    with assert_query_count("calendar feed"):
        response = Client().get(f"/calendar/{token}.ics")
    assert response.content.count(b"BEGIN:VEVENT") == 18
