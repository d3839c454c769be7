"""Pages: who may see them, what they say, that they work without scripts."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from jobs.reminders.inbound import inbound_text_take
from routing.plans.models import DayPlan, PlanRun, ShiftException, ShiftPattern
from routing.plans.services import shift_exception_set
from shared.events.models import Event
from shared.outbox.services import sending_switch_set
from tests import factories

pytestmark = pytest.mark.django_db
NOON = datetime.fromisoformat("2026-06-03T12:00:00-04:00")


@pytest.fixture(autouse=True)
def at_noon() -> Any:
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def planned(day: date, whole_day: dict[str, Any]) -> dict[str, Any]:
    yard = factories.make_yard(code="main", name="Main yard", latitude=40.0, longitude=-82.0)
    east = factories.make_crew(yard=yard, code="east", name="East")
    west = factories.make_crew(yard=yard, code="west", name="West", wage_cents_per_hour=9_900)
    first = factories.make_job(windows=[whole_day], property=factories.make_property(latitude=40.01, longitude=-82.0))
    second = factories.make_job(windows=[whole_day], property=factories.make_property(latitude=40.02, longitude=-82.0))
    plan = factories.make_day_plan(yard=yard, jobs=[first, second])
    return {"yard": yard, "east": east, "west": west, "first": first, "second": second, "plan": plan}


@pytest.fixture
def office_client(client_of: Callable[[Any], Client], office: Any) -> Client:
    return client_of(office)


DAY_URL = "/day/main/2026-06-03/"
PAGES = ["/", "/day/", DAY_URL, "/crews/"]


@pytest.mark.parametrize("url", [*PAGES[1:], "/api/day-plans/"])
def test_a_crew_lead_is_refused(url: str, client_of: Callable[[Any], Client], crew_lead: Any, planned: Any) -> None:
    """Plans, crews and wages are not for crew leads."""
    assert client_of(crew_lead).get(url).status_code == 403


@pytest.mark.parametrize("url", PAGES)
def test_nobody_sees_anything_without_signing_in(url: str, client: Client, planned: Any) -> None:
    """To the sign-in page."""
    response = client.get(url)
    assert response.status_code == 302
    assert response["Location"].startswith("/sign-in/")


def test_a_crew_lead_goes_to_the_own_page(client_of: Callable[[Any], Client], crew_lead: Any) -> None:
    """The first page of a crew lead is the own route."""
    response = client_of(crew_lead).get("/")
    assert (response.status_code, response["Location"]) == (302, "/crew/")


@pytest.mark.parametrize("method", ["change", "make", "hours", "usual"])
def test_a_crew_lead_changes_nothing(
    method: str, client_of: Callable[[Any], Client], crew_lead: Any, planned: Any
) -> None:
    """The posts are closed too."""
    url = {
        "change": f"/day-plans/{planned['plan'].pk}/change/",
        "make": f"{DAY_URL}make/",
        "hours": "/crews/",
        "usual": "/crews/east/2026-06-03/usual/",
    }[method]
    assert client_of(crew_lead).post(url).status_code == 403


def test_the_day(office_client: Client, planned: dict[str, Any], day: date) -> None:
    """Each stop with its street, customer and clock times; the plan's facts with the drive source."""
    text = office_client.get(DAY_URL).content.decode()
    for name in ("first", "second"):
        assert planned[name].property.street in text
        assert planned[name].property.customer.name in text
    # One house is 4, the other 6 minutes away; both orders are worth the same.
    assert "7:34 am" in text or "7:36 am" in text
    assert "estimated (great circle)" in text
    assert "On shift without a stop:" in text
    assert "draft" in text


def test_chalk_and_left_out(office_client: Client, planned: dict[str, Any], day: date) -> None:
    """Walls that must be shown are named with the reading; a left-out job with its reason and what would place it."""
    wall = factories.make_wall(property=planned["first"].property, name="garage door")
    factories.make_reading(wall=wall, reading="3.5")
    factories.make_reading(wall=factories.make_wall(property=planned["first"].property, name="clean wall"), reading=1)
    out = factories.make_job()
    planned["plan"].left_out.create(job=out, reason="crew_hours_full", price_to_place_cents=12_345)
    text = office_client.get(DAY_URL).content.decode()
    assert "garage door 3.5" in text
    assert "clean wall" not in text
    assert out.property.street in text
    assert "full" in text
    assert "$123.45" in text


def test_what_the_customer_was_told(office_client: Client, planned: dict[str, Any], day: date) -> None:
    """A promise and its hours stand at the stop; a window of the whole day says nothing."""
    assert "may begin" not in office_client.get(DAY_URL).content.decode()
    planned["first"].windows.update(promised=True, start_minute=480, end_minute=690)
    DayPlan.objects.all().delete()
    factories.make_day_plan(yard=planned["yard"], jobs=[1])
    text = office_client.get(DAY_URL).content.decode()
    assert "promised" in text
    assert "may begin 8:00 am to 11:30 am" in text


def test_a_stop_that_was_called_off(office_client: Client, planned: dict[str, Any]) -> None:
    """The office sees it on the plan before a crew goes for nothing."""
    assert "called off" not in office_client.get(DAY_URL).content.decode()
    type(planned["first"]).objects.filter(pk=planned["first"].pk).update(state="called_off")
    assert "called off" in office_client.get(DAY_URL).content.decode()


def test_earned_per_crew_hour(office_client: Client, planned: dict[str, Any]) -> None:
    """$400 in 120 min on site and 4 min of driving by three workers, who count as 186 crew-minutes: $129.03."""
    planned["east"].workers = 3
    planned["east"].save()
    stop = planned["plan"].routes.get().stops.first()
    type(stop).objects.filter(pk=stop.pk).update(drive_minutes=4)
    assert "$129.03" in office_client.get(DAY_URL).content.decode()


def test_a_change_without_scripts(office_client: Client, planned: dict[str, Any], office: Any) -> None:
    """A plain form: post, redirect to the stop, the notice says what it cost."""
    order = list(planned["plan"].routes.get().stops.values_list("job_id", flat=True))
    response = office_client.post(
        f"/day-plans/{planned['plan'].pk}/change/", {"kind": "down", "job": order[0], "version": 1}
    )
    assert (response.status_code, response["Location"]) == (302, f"{DAY_URL}#job-{order[0]}")
    text = office_client.get(DAY_URL).content.decode()
    assert "Saved." in text
    assert DayPlan.objects.get().version == 2
    assert Event.objects.get(kind="plan.stop_moved").actor == office
    assert f"office moved job {order[0]}" in text


def test_a_change_with_htmx(office_client: Client, planned: dict[str, Any]) -> None:
    """Only the plan comes back, with the notice, and the form of the stop stays open."""
    job = planned["plan"].routes.get().stops.first().job_id
    response = office_client.post(
        f"/day-plans/{planned['plan'].pk}/change/", {"kind": "lock", "job": job, "version": 1}, HTTP_HX_REQUEST="true"
    )
    text = response.content.decode()
    assert response.status_code == 200
    assert text.startswith('<div id="plan"')
    assert "<html" not in text
    assert "Saved." in text
    assert " open>" in text
    assert "locked" in text


@pytest.mark.parametrize(
    ("form", "status", "words"),
    [
        ({"kind": "take_out", "version": 7}, 412, "Somebody changed this plan"),
        ({"kind": "move", "version": 1, "crew": "nobody"}, 422, "not on shift"),
        ({"kind": "fly", "version": 1}, 422, "not understood"),
        ({"kind": "move", "version": 1, "crew": "east", "position": "second"}, 422, "not understood"),
        ({"kind": "lock", "version": 1, "job": 9_999_999}, 404, "not in the plan"),
        ({"kind": "lock", "version": 1, "job": 10**30}, 422, "not understood"),
    ],
)
def test_what_is_refused_is_said_on_the_page(
    form: dict[str, Any], status: int, words: str, office_client: Client, planned: dict[str, Any]
) -> None:
    """The day is shown again with the reason; nothing is saved."""
    data = {"job": planned["first"].pk, **form}
    response = office_client.post(f"/day-plans/{planned['plan'].pk}/change/", data)
    assert response.status_code == status
    assert words in response.content.decode()
    assert planned["first"].property.street in response.content.decode()
    assert DayPlan.objects.get().version == 1


@pytest.mark.usefixtures("solve_here")
def test_planning_from_the_page(
    office_client: Client, planned: dict[str, Any], office: Any, django_capture_on_commit_callbacks: Any
) -> None:
    """Post, redirect, planned in the background."""
    with django_capture_on_commit_callbacks(execute=True):
        response = office_client.post(f"{DAY_URL}make/", {"seconds": 3})
    assert (response.status_code, response["Location"]) == (302, DAY_URL)
    run = PlanRun.objects.get()
    assert (run.state, run.seconds_allowed, run.requested_by) == ("done", 3, office)
    assert DayPlan.objects.get().version == 2


@pytest.mark.parametrize("seconds", ["0", "601", "", "ten"])
def test_seconds_out_of_bounds(seconds: str, office_client: Client, planned: dict[str, Any]) -> None:
    """The form comes back with the error, no run begins."""
    response = office_client.post(f"{DAY_URL}make/", {"seconds": seconds})
    assert response.status_code == 422
    assert "field-wrong" in response.content.decode()
    assert not PlanRun.objects.exists()


def test_progress_on_the_page(office_client: Client, planned: dict[str, Any], day: date) -> None:
    """While a run works: its best value and bound, a link to look again, and no second button."""
    run = PlanRun.objects.create(
        yard=planned["yard"],
        work_date=day,
        state="running",
        seconds_allowed=10,
        created_at=NOON,
        value_cents=123_400,
        upper_bound_cents=130_000,
    )
    text = office_client.get(DAY_URL).content.decode()
    assert "$1,234.00" in text
    assert "$1,300.00" in text
    assert f'hx-get="/plan-runs/{run.pk}/"' in text
    assert "Look again" in text
    assert "Plan the day again" not in text
    part = office_client.get(f"/plan-runs/{run.pk}/", HTTP_HX_REQUEST="true")
    assert part.content.decode().startswith('<div id="run"')
    PlanRun.objects.update(state="done")
    ended = office_client.get(f"/plan-runs/{run.pk}/", HTTP_HX_REQUEST="true")
    assert ended["HX-Redirect"] == DAY_URL
    assert office_client.get(f"/plan-runs/{run.pk}/")["Location"] == DAY_URL


def test_a_run_that_failed_says_why(office_client: Client, planned: dict[str, Any], day: date) -> None:
    """And the old plan is still there."""
    PlanRun.objects.create(
        yard=planned["yard"],
        work_date=day,
        state="failed",
        seconds_allowed=10,
        created_at=NOON,
        problem_text="No crew is on shift.",
    )
    text = office_client.get(DAY_URL).content.decode()
    assert "No crew is on shift." in text
    assert planned["first"].property.street in text


def test_promises_that_fall_are_a_warning(office_client: Client, planned: dict[str, Any]) -> None:
    """Reasons of an infeasible plan and notices stand at the head of the page."""
    plan = planned["plan"]
    DayPlan.objects.update(
        plan={**plan.plan, "status": "infeasible", "reasons": ["Two jobs need the roof crew."]},
        notices=["East runs late."],
    )
    text = office_client.get(DAY_URL).content.decode()
    assert "Not every promise can be kept." in text
    assert "Two jobs need the roof crew." in text
    assert "East runs late." in text


@pytest.mark.parametrize(
    ("url", "status", "location"),
    [
        (f"{DAY_URL}?day=2026-07-01", 302, "/day/main/2026-07-01/"),
        (f"{DAY_URL}?day=nonsense", 200, None),
        (f"{DAY_URL}?day=0001-01-01", 200, None),
        ("/day/main/2000-01-01/", 200, None),
        ("/day/main/2099-12-31/", 200, None),
        ("/day/main/1999-12-31/", 404, None),
        ("/day/main/9999-12-31/", 404, None),
        ("/day/", 302, DAY_URL),
        ("/day/nowhere/2026-06-03/", 404, None),
        ("/day/main/2026-02-30/", 404, None),
        ("/day/main/2026-06-04/", 200, None),
    ],
)
def test_days_and_yards(
    url: str, status: int, location: str | None, office_client: Client, planned: dict[str, Any]
) -> None:
    """Dates are gone to, wrong ones and unknown yards are not found, a day without a plan is a page."""
    response = office_client.get(url)
    assert (response.status_code, response.get("Location")) == (status, location)


def test_next_and_previous_working_day(office_client: Client, planned: dict[str, Any]) -> None:
    """Nobody works on Thursday, and Friday all are off: from Wednesday to Saturday, and back to Tuesday."""
    for crew in (planned["east"], planned["west"]):
        crew.patterns.filter(weekday=3).delete()
        shift_exception_set(crew=crew, work_date=date(2026, 6, 5), is_off=True)
    text = office_client.get(DAY_URL).content.decode()
    assert "/day/main/2026-06-06/" in text
    assert "/day/main/2026-06-02/" in text


def test_without_a_yard(office_client: Client) -> None:
    """A new company is told what to do first."""
    assert "no yard yet" in office_client.get("/day/").content.decode()
    assert "no yard yet" in office_client.get("/").content.decode()


def test_today(office_client: Client, planned: dict[str, Any]) -> None:
    """The three moments: the routes, the kinds of job below the target, who is due."""
    service = factories.make_service(name="Chalk removal")
    factories.make_target(target_cents_per_crew_hour=15_000)
    for number in range(12):  # $80 in two hours: $40 an hour, far below $150
        factories.make_earning(
            service=service,
            job_ref=number,
            price_cents=8_000 + 10 * number,
            on_site_minutes=120,
            work_date=date(2026, 5, 4),
        )
    text = office_client.get("/").content.decode()
    assert "East" in text
    assert "Chalk removal" in text
    assert "due" in text
    assert DAY_URL in text


def test_a_day_off_shows_the_next_working_day(office_client: Client, planned: dict[str, Any]) -> None:
    """No crew works today: both pages open the day on which one does, unless today is planned all the same."""
    ShiftPattern.objects.filter(weekday__in=(2, 3)).delete()
    assert "2026-06-03" in office_client.get("/day/").url
    DayPlan.objects.all().delete()
    assert "2026-06-05" in office_client.get("/day/").url
    assert "Fri, Jun 5, 2026" in office_client.get("/").content.decode()


def test_today_says_what_about_messages_waits_for_a_person(
    office_client: Client, planned: dict[str, Any], office: Any
) -> None:
    """The switch that is off and why, messages of unknown result, texts that nobody has read; else not a word."""
    assert "/messages/" not in office_client.get("/").content.decode().partition("<main")[2]
    factories.make_message(state="sending", claimed_at=NOON - timedelta(hours=1))
    inbound_text_take(event="a", sender="+16145550101", body="When do you come?", at=NOON)
    sending_switch_set(is_on=False, reason="wrong price", actor=office, now=NOON)
    shown = office_client.get("/").content.decode()
    assert "Sending is off and nothing leaves: wrong price" in shown
    assert "Nobody knows whether 1 message arrived." in shown
    assert "1 text that came in waits to be read" in shown
    assert 'href="/messages/"' in shown.partition("<main")[2]


def test_today_without_target(office_client: Client, planned: dict[str, Any]) -> None:
    """The page says that no target is set instead of failing."""
    assert "No hourly target" in office_client.get("/").content.decode()


@pytest.mark.parametrize(("role", "sees"), [("owner", True), ("office", False)])
def test_wages_are_the_owners(
    role: str, sees: bool, client_of: Callable[[Any], Client], planned: dict[str, Any]
) -> None:
    """The office plans with the crews, but does not see what they earn."""
    text = client_of(factories.make_user(role=role)).get("/crews/").content.decode()
    assert ("$99.00" in text) == sees


def test_a_day_off(office_client: Client, planned: dict[str, Any], office: Any, day: date) -> None:
    """Set on the page, shown there with the reason, recorded, and taken back."""
    form = {"crew": "east", "work_date": "2026-06-04", "is_off": "on", "reason": "truck in the shop"}
    assert office_client.post("/crews/", form).status_code == 302
    assert ShiftException.objects.get().is_off
    assert Event.objects.get(kind="crew.day_off").actor == office
    text = office_client.get("/crews/").content.decode()
    assert "truck in the shop" in text
    office_client.post("/crews/east/2026-06-04/usual/")
    assert not ShiftException.objects.exists()
    assert Event.objects.filter(kind="crew.usual_hours").count() == 1


def test_other_hours(office_client: Client, planned: dict[str, Any]) -> None:
    """Only what was given differs from the usual hours."""
    planned["east"].patterns.update(end_minute=900, break_minutes=45)
    form = {"crew": "east", "work_date": "2026-06-04", "starts_at": "10:15", "ends_at": "", "reason": ""}
    assert office_client.post("/crews/", form).status_code == 302
    exception = ShiftException.objects.get()
    assert (exception.start_minute, exception.end_minute, exception.break_minutes) == (615, 900, 45)


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({"work_date": "2026-06-04"}, "off, or when it starts"),
        ({"work_date": "2026-06-04", "starts_at": "18:00", "ends_at": "09:00"}, "must end after it begins"),
        ({"work_date": "yesterday", "is_off": "on"}, "valid date"),
    ],
)
def test_hours_that_make_no_sense(
    form: dict[str, str], words: str, office_client: Client, planned: dict[str, Any]
) -> None:
    """The form says what is wrong; nothing is stored."""
    response = office_client.post("/crews/", {"crew": "east", **form})
    assert response.status_code == 422
    assert words in response.content.decode()
    assert not ShiftException.objects.exists()


@pytest.mark.parametrize("name", ["today", "day", "crews"])
def test_query_counts(
    name: str, office_client: Client, planned: dict[str, Any], assert_query_count: Any, whole_day: dict[str, Any]
) -> None:
    """With six jobs as many queries as the checked-in file says, which was counted with two."""
    for _ in range(4):
        factories.make_job(windows=[whole_day])
    DayPlan.objects.all().delete()
    factories.make_day_plan(yard=planned["yard"], jobs=[1])
    url = {"today": "/", "day": DAY_URL, "crews": "/crews/"}[name]
    office_client.get(url)
    with assert_query_count(f"plans {name}"):
        office_client.get(url)
