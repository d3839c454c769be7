"""Whole plans while the roads misbehave: a routing server that fails in every way, and places that nobody can drive to.

The plan is made and stored from one source, says from which one and why, and no job is lost.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, time, timedelta
from io import StringIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client

from routing.plans import services
from routing.plans.domain.learning import DayFactors, scaled
from routing.plans.models import DayPlan, LeftOut, PlanRun, Stop, WeekPlan
from routing.plans.selectors import day_problem
from routing.plans.selectors.insertion import drive_share_at
from routing.plans.services.replanning import SERVER_SECONDS
from routing.roads.services import drive_table, server
from routing.roads.services.build import roads_build
from shared import clock
from tests import factories
from tests.routing.roads.stand import Stand, minutes_apart
from tests.routing.roads.streets import Streets, at

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("solve_here")]
EXTRACT = "roads (streets.osm.pbf)"
SERVER = "routing server (valhalla)"
DAY = date(2026, 6, 3)
EVENING_BEFORE = datetime(2026, 6, 2, 22, 0, tzinfo=UTC)
ALONG = (300, 900, 1_500, 2_100)  # metres east of the yard


@pytest.fixture
def extract(tmp_path: Path, settings: Any) -> None:
    """A street of 3 km in use, with a street that leads only away from it and one that leads only back to it."""
    settings.DATA_DIR = tmp_path / "data"
    points = {"a": (0, 0), "b": (1_000, 0), "c": (2_000, 0), "d": (3_000, 0), "e": (1_000, 1_000), "f": (2_000, 1_000)}
    streets = Streets(points)
    streets.way("abcd")
    streets.way("be", oneway="yes")
    streets.way("fc", oneway="yes")
    roads_build(path=streets.write(tmp_path / "streets.osm.pbf"))


@pytest.fixture
def stand(extract: None, settings: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Stand]:
    """A routing server is set; a table of five places is asked for in nine requests."""
    made = Stand()
    settings.WALLDAY_ROADS_URL = made.url
    monkeypatch.setattr(server, "AT_ONCE", 2)
    yield made
    made.end()


@pytest.fixture
def yard(monkeypatch: pytest.MonkeyPatch) -> Any:
    """A yard at the street's beginning with one crew; it is the evening before the day."""
    monkeypatch.setattr(clock, "now", lambda: EVENING_BEFORE)
    latitude, longitude = at((0, 20))
    yard = factories.make_yard(code="main", latitude=latitude, longitude=longitude)
    factories.make_crew(yard=yard, code="east", name="East")
    return yard


def job_at(place: tuple[float, float] | None, *, until: date = DAY) -> Any:
    latitude, longitude = at(place) if place else (None, None)
    window = {"first_date": DAY, "last_date": until}
    return factories.make_job(
        windows=[window], property=factories.make_property(latitude=latitude, longitude=longitude)
    )


@pytest.fixture
def jobs(yard: Any) -> list[Any]:
    return [job_at((east, 20)) for east in ALONG]


def plan_the_day(yard: Any) -> DayPlan:
    return services.day_plan_make(yard=yard, work_date=DAY, seconds=1)


def killed(stand: Stand, patch: pytest.MonkeyPatch) -> None:
    stand.on_request = lambda number: stand.end() if number == 4 else None


def never_there(stand: Stand, patch: pytest.MonkeyPatch) -> None:
    stand.end()


def slow(stand: Stand, patch: pytest.MonkeyPatch) -> None:
    patch.setattr(server, "ANSWER_SECONDS", 0.05)
    stand.on_request = lambda number: setattr(stand, "wait", 0.5 if number >= 4 else 0.0)


def nonsense(stand: Stand, patch: pytest.MonkeyPatch) -> None:
    stand.on_request = lambda number: setattr(stand, "raw", b"<html>busy</html>" if number >= 4 else None)


def another_shape(stand: Stand, patch: pytest.MonkeyPatch) -> None:
    stand.raw = b'{"sources_to_targets": [[{"time": 60, "distance": 1}]]}'


def failing(stand: Stand, patch: pytest.MonkeyPatch) -> None:
    stand.on_request = lambda number: setattr(stand, "status", 500 if number >= 4 else 200)


FAULTS = [killed, never_there, slow, nonsense, another_shape, failing]


@pytest.mark.parametrize("fault", FAULTS)
def test_the_plan_is_made_from_the_extract_alone(
    fault: Callable[[Stand, pytest.MonkeyPatch], None],
    stand: Stand,
    yard: Any,
    jobs: list[Any],
    monkeypatch: pytest.MonkeyPatch,
    settings: Any,
) -> None:
    """Every drive is the extract's, whatever the server had answered before; no job is lost, and the run is done."""
    fault(stand, monkeypatch)
    plan = plan_the_day(yard)
    assert plan.drive_source == f"{EXTRACT}; server failed"
    assert any("The routing server failed" in words and EXTRACT in words for words in plan.notices)
    assert {stop.job_id for stop in Stop.objects.all()} == {job.pk for job in jobs}
    assert PlanRun.objects.get().state == "done"
    settings.WALLDAY_ROADS_URL = ""
    alone = day_problem(yard=yard, work_date=DAY)
    assert plan.inputs_digest == alone.digest
    assert alone.drive_source == EXTRACT
    assert not alone.about_roads


def test_where_there_is_no_extract_the_plan_is_estimated(
    yard: Any, jobs: list[Any], settings: Any, tmp_path: Path
) -> None:
    """Nobody listens on port 9 of this machine, and no roads were built."""
    settings.DATA_DIR, settings.WALLDAY_ROADS_URL = tmp_path, "http://127.0.0.1:9"
    plan = plan_the_day(yard)
    assert plan.drive_source == "estimated (great circle); server failed"
    assert Stop.objects.count() == len(jobs)


def test_everybody_is_told(
    stand: Stand, yard: Any, jobs: list[Any], client_of: Callable[[Any], Client], office: Any
) -> None:
    """The page, the route sheet, the API and the command say who answered instead."""
    stand.status = 500
    plan = plan_the_day(yard)
    label, words = f"{EXTRACT}; server failed", "The routing server failed."
    client = client_of(office)
    page = client.get(f"/day/main/{DAY}/").content.decode()
    assert label in page
    assert words in page
    assert label in client.get(f"/sheets/{plan.routes.get().pk}/").content.decode()
    answer = client.get(f"/api/day-plans/{plan.pk}/").json()
    assert answer["drive_source"] == label
    assert any(words in notice for notice in answer["notices"])
    out = StringIO()
    call_command("plan_day", "--date", str(DAY), "--seconds", "1", stdout=out)
    assert label in out.getvalue()
    assert words in out.getvalue()


def test_a_server_that_is_back_is_asked_again(stand: Stand, yard: Any, jobs: list[Any]) -> None:
    """The next plan of the day is the server's whole, and says nothing of a failure."""
    stand.status = 500
    plan_the_day(yard)
    stand.status = 200
    plan = plan_the_day(yard)
    assert plan.drive_source == SERVER
    assert not plan.notices
    assert {cell for row in plan.problem["drive_minutes"] for cell in row} <= set(range(60))


def test_null_cells_are_places_that_nobody_can_drive_to(stand: Stand, yard: Any, jobs: list[Any]) -> None:
    """They are no failure of the server: its table stands, the place is named and left out, and no cell of it is 0."""
    lost = at((ALONG[1], 20))
    stand.cell = lambda a, b: None if (a == lost) != (b == lost) else minutes_apart(a, b)
    plan = plan_the_day(yard)
    assert plan.drive_source == SERVER
    assert_left_out(plan, jobs[1], "no street within 300 m")
    assert Stop.objects.count() == len(jobs) - 1


def test_what_was_learnt_is_added_to_the_label(stand: Stand, yard: Any, jobs: list[Any]) -> None:
    """The end of the label stays whole."""
    stand.status = 500
    table = scaled(drive_table([at((0, 20)), at((300, 20))]), DayFactors(between=120))
    assert table.source == f"{EXTRACT}; server failed; learnt"


def assert_left_out(plan: DayPlan, job: Any, reason: str) -> None:
    """With its reason, named by its street, and with no drive of no minutes."""
    assert LeftOut.objects.get(plan=plan, job=job).reason == "unreachable"
    (words,) = (words for words in plan.notices if job.property.street in words)
    assert reason in words
    row = plan.problem["places"].index(f"p{job.property_id}")
    ways = [*plan.problem["drive_minutes"][row], *(line[row] for line in plan.problem["drive_minutes"])]
    assert 0 not in [cell for number, cell in enumerate(ways) if number % len(plan.problem["places"]) != row]


def test_a_week_never_mixes_sources(stand: Stand, yard: Any) -> None:
    """The server answers for the first day and is killed in the second: the extract answers for both."""
    jobs = [job_at((east, 20), until=DAY + timedelta(days=1)) for east in ALONG]
    stand.on_request = lambda number: stand.end() if number == 12 else None
    week = services.week_plan_make(yard=yard, day=DAY, seconds=1)
    assert stand.requests == 12
    assert week.drive_source == f"{EXTRACT}; server failed"
    assert any("The routing server failed" in words for words in week.notices)
    assert {stop["job"] for route in week.plan["routes"] for stop in route["stops"]} == {f"J{job.pk}" for job in jobs}
    places, minutes = week.problem["places"], week.problem["drive_minutes"]
    order = [places.index("yard"), *(places.index(f"p{job.property_id}") for job in jobs)]
    legs = [minutes[a][b] for a, b in pairwise(order)]
    assert legs == [1, 1, 1, 1]  # 300 m and three times 600 m at 60 km/h: at most 0.6 min each, rounded up


def granted(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The seconds that each table was granted, from now on."""
    seconds: list[float] = []

    class Watched(server.RoadServer):
        def table(self, points: Any) -> Any:
            seconds.append(self.all_seconds)
            return super().table(points)

    monkeypatch.setattr("routing.roads.services.drive.RoadServer", Watched)
    return seconds


def test_pages_wait_three_seconds_at_most(
    stand: Stand, yard: Any, jobs: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The share of driving at an estimate comes from the extract where the server is slower."""
    asked = granted(monkeypatch)
    stand.status = 500
    facts = drive_share_at(place=jobs[0].property, today=DAY)
    assert asked == [3.0]
    assert facts.source == f"{EXTRACT}; server failed"


def test_a_replan_does_not_wait_for_a_slow_server(
    stand: Stand, yard: Any, jobs: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It grants a server half a second for all blocks; then the extract answers, within the replan's own time."""
    plan = plan_the_day(yard)
    morning = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)  # eight at the yard
    asked = granted(monkeypatch)
    stand.wait = SERVER_SECONDS
    news = services.News("east", "starts_late", time(9))
    after = services.day_replan(plan_id=plan.pk, news=news, expected_version=plan.version, now=morning)
    assert asked == [SERVER_SECONDS]
    assert after.drive_source == f"{EXTRACT}; server failed"
    assert Stop.objects.filter(route__plan=after).count() + after.left_out.count() == len(jobs)


@pytest.fixture
def broken(extract: None, yard: Any) -> dict[str, Any]:
    """A good place, and a job for each way in which a place can be out of reach, by what is said about it."""
    until = DAY + timedelta(days=1)
    job_at((300, 20), until=until)
    return {
        "no street within 300 m": job_at((2_000, 5_000), until=until),
        "there is no way back from it": job_at((1_000, 950), until=until),
        "there is no way to it from the yard": job_at((2_000, 950), until=until),
    }


def test_places_out_of_reach_are_named_on_the_day(
    broken: dict[str, Any], yard: Any, client_of: Callable[[Any], Client], office: Any
) -> None:
    """On the page and in the API; each is left out with a reason and drives of no place are 0."""
    plan = plan_the_day(yard)
    client = client_of(office)
    page = client.get(f"/day/main/{DAY}/").content.decode()
    answer = client.get(f"/api/day-plans/{plan.pk}/").json()
    for reason, job in broken.items():
        assert_left_out(plan, job, reason)
        words = f"No crew can drive to {job.property.street}: {reason}."
        assert words in page
        assert words in answer["notices"]
        assert (f"J{job.pk}", "unreachable") in [(left["job"], left["reason"]) for left in answer["left_out"]]


def test_places_out_of_reach_are_named_on_the_week(
    broken: dict[str, Any], yard: Any, client_of: Callable[[Any], Client], office: Any
) -> None:
    """On the page, in the API and by the command, once each; and a property without any place."""
    nowhere = job_at(None)
    week = services.week_plan_make(yard=yard, day=DAY, seconds=1)
    client = client_of(office)
    page = client.get(f"/week/main/{week.first_day}/").content.decode()
    answer = client.get(f"/api/week-plans/{week.pk}/").json()
    out = StringIO()
    WeekPlan.objects.update(state="done")
    call_command("plan_week", "--date", str(DAY), "--seconds", "1", stdout=out)
    told = [f"No crew can drive to {job.property.street}: {reason}." for reason, job in broken.items()]
    told.append(f"Not planned: job {nowhere.pk}, {nowhere.property.street}. The property has no place on the map.")
    for words in told:
        assert page.count(words) == 1
        assert answer["notices"].count(words) == 1
        assert words in out.getvalue()
    assert (answer["drive_source"], EXTRACT in page, EXTRACT in out.getvalue()) == (EXTRACT, True, True)
    left = {entry["job"] for entry in answer["plan"]["left_out"]}
    assert {f"J{job.pk}" for job in broken.values()} <= left


def test_a_yard_off_every_street_is_named(
    extract: None, yard: Any, client_of: Callable[[Any], Client], office: Any
) -> None:
    """No crew can go anywhere: the yard is named, and every job is left out rather than driven to in no time."""
    latitude, longitude = at((0, 5_000))
    type(yard).objects.update(latitude=latitude, longitude=longitude)
    yard.refresh_from_db()
    job = job_at((300, 20))
    plan = plan_the_day(yard)
    assert "No crew can drive to the yard: no street within 300 m." in plan.notices
    assert LeftOut.objects.get(plan=plan, job=job).reason == "unreachable"
    assert "No crew can drive to the yard" in client_of(office).get(f"/day/main/{DAY}/").content.decode()
