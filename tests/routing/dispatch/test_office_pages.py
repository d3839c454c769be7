"""Sending out from the page, what was sent, the sheets, calendar addresses: for the office only."""

import io
from typing import Any

import pytest
import time_machine
from pypdf import PdfReader

from routing.dispatch.models import CalendarFeed, SentPlan
from routing.dispatch.services import feed_ensure, plan_send_out
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def today() -> Any:
    with time_machine.travel("2026-06-02T12:00:00Z", tick=False):
        yield


@pytest.fixture
def client(client_of: Any, office: Any) -> Any:
    return client_of(office)


@pytest.fixture
def plan() -> Any:
    yard = factories.make_yard(code="north")
    crew = factories.make_crew(yard=yard, code="A", name="Crew Heron")
    jobs = [factories.make_job(property=factories.make_property(street=f"{n} Elm Street")) for n in (1, 2)]
    return factories.make_planned_day((crew, jobs))


def text_of(response: Any) -> str:
    return str(response.content.decode())


def test_closed_to_crew_leads(client_of: Any, crew_lead: Any, plan: Any) -> None:
    """Neither sheets by number nor sending out, although they know the addresses."""
    client, route = client_of(crew_lead), plan.routes.get().pk
    for path in (f"/sheets/{route}/", f"/sheets/{route}.pdf", f"/day-plans/{plan.pk}/sent/"):
        assert client.get(path).status_code == 403
    for path in (f"/day-plans/{plan.pk}/send-out/", "/crews/A/calendar/"):
        assert client.post(path, {"version": 1}).status_code == 403
    assert not SentPlan.objects.exists()


def test_sending_out_and_again(client: Any, plan: Any) -> None:
    """The page says which version is out and what changed, crew by crew."""
    page = text_of(client.post(f"/day-plans/{plan.pk}/send-out/", {"version": 1}, follow=True))
    assert "Sent out: version 1." in page
    assert "everything is new" in page
    crew, jobs = plan.routes.get().crew, [stop.job for stop in plan.routes.get().stops.all()]
    plan.refresh_from_db()
    factories.set_routes(plan, (crew, jobs[1:]))
    assert "crews still see the last version" in text_of(client.get(f"/day-plans/{plan.pk}/sent/"))
    page = text_of(client.post(f"/day-plans/{plan.pk}/send-out/", {"version": plan.version}, follow=True))
    assert "Version 2" in page
    assert "No longer on the route: 1 Elm Street." in page
    assert "2 Elm Street at 7:40 am, not 9:50 am." in page


@pytest.mark.parametrize("version", ["7", "x", ""])
def test_a_version_that_nobody_saw(client: Any, plan: Any, version: str) -> None:
    """Back to the day's page, in words; nothing is sent."""
    response = client.post(f"/day-plans/{plan.pk}/send-out/", {"version": version})
    assert response["Location"] == "/day/north/2026-06-02/"
    assert not SentPlan.objects.exists()


def test_the_sheet_as_a_page(client: Any, plan: Any, assert_query_count: Any) -> None:
    """In a few queries, however many stops; telephone and map can be tapped."""
    route = plan.routes.get().pk
    with assert_query_count("route sheet"):
        page = text_of(client.get(f"/sheets/{route}/"))
    for words in ("Crew Heron", "1 Elm Street", 'href="tel:+1555', 'href="geo:40.000000,-82.000000"', "Load-out",
                  "draft, not sent out", "estimated (great circle)", "7:40 am"):  # fmt: skip
        assert words in page, words
    assert client.get("/sheets/999/").status_code == 404


def test_more_stops_cost_no_more_queries(client: Any, django_assert_num_queries: Any) -> None:
    """One stop and nine are read alike."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    counts = []
    for number in (1, 9):
        crew = factories.make_crew()
        jobs = [factories.make_job(lines=[{}, {}], property=factories.make_wall().property) for _ in range(number)]
        route = factories.make_planned_day((crew, jobs)).routes.get().pk
        client.get(f"/sheets/{route}/")
        with CaptureQueriesContext(connection) as queries:
            assert client.get(f"/sheets/{route}/").status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_what_customers_write_stays_text(client: Any, plan: Any) -> None:
    """Markup in a note is shown, not run."""
    job = plan.routes.get().stops.first().job
    job.note = "<script>alert(1)</script>"
    job.save()
    page = text_of(client.get(f"/sheets/{plan.routes.get().pk}/"))
    assert "&lt;script&gt;alert(1)" in page
    assert "<script>alert(1)" not in page


def test_the_sheet_as_pdf(client: Any, plan: Any) -> None:
    """A PDF named after day and crew."""
    response = client.get(f"/sheets/{plan.routes.get().pk}.pdf")
    assert response["Content-Type"] == "application/pdf"
    assert response["Content-Disposition"] == 'inline; filename="2026-06-02-A.pdf"'
    assert "1 Elm Street" in PdfReader(io.BytesIO(response.content)).pages[0].extract_text()


def test_calendar_addresses(client: Any, plan: Any) -> None:
    """Made and renewed from the page of what was sent; shown in full."""
    body = {"plan": plan.pk}
    page = text_of(client.post("/crews/A/calendar/", body, follow=True))
    token = CalendarFeed.objects.get().token
    assert f"/calendar/{token}.ics" in page
    client.post("/crews/A/calendar/", body)
    assert CalendarFeed.objects.get().token != token
    assert client.post("/crews/nobody/calendar/", body).status_code == 404


def test_the_page_of_versions_in_a_few_queries(client: Any, plan: Any, assert_query_count: Any) -> None:
    """However many versions there are."""
    crew, jobs = plan.routes.get().crew, [stop.job for stop in plan.routes.get().stops.all()]
    feed_ensure(crew=crew)
    for count in (2, 1, 2, 1):
        factories.set_routes(plan, (crew, jobs[:count]))
        plan_send_out(plan=plan, expected_version=plan.version)
    with assert_query_count("sent versions"):
        page = text_of(client.get(f"/day-plans/{plan.pk}/sent/"))
    assert page.count("<h3>Version") == 4
