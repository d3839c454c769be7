"""The queue of leads as page, command and API; decisions and what came of them."""

from datetime import UTC, date, datetime
from io import StringIO
from typing import Any

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction

from jobs.work.models import Job
from jobs.work.services import job_agree, job_decline
from pricing.triage.models import LeadDecision, LeadOutcome
from pricing.triage.selectors import close_rate_bands
from routing.plans.selectors.leads import lead_triage
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def noon() -> Any:
    with time_machine.travel(datetime(2026, 6, 1, 16, 0, tzinfo=UTC), tick=False):
        yield


@pytest.fixture
def crew() -> Any:
    factories.make_target(reserve_cents_per_crew_hour=11_000)
    return factories.make_crew(name="Heron", yard=factories.make_yard(code="north"))


@pytest.fixture
def lead(crew: Any) -> Any:
    return factories.make_job(state="lead", lines=[{"card_price_cents": 40_000}])


def test_closed_to_crew_leads(client_of: Any, crew_lead: Any) -> None:
    assert client_of(crew_lead).get("/leads/").status_code == 403


def test_without_a_yard(client_of: Any, office: Any) -> None:
    assert "There is no yard yet" in client_of(office).get("/leads/").content.decode()


def test_the_page(client_of: Any, office: Any, crew: Any, lead: Any, assert_query_count: Any) -> None:
    """Advice, hours, days with a crew, and the worth from a stored plan; more leads take no more queries."""
    for _number in range(3):
        factories.make_job(state="estimated")
    plan = factories.make_planned_day((crew, [factories.make_job()]))
    plan.plan["crew_hour_worth_cents"] = 18_800
    plan.save()
    client = client_of(office)
    client.get("/leads/")
    with assert_query_count("leads"):
        page = client.get("/leads/").content.decode()
    assert ("$188.00" in page, "crew Heron" in page, "Take" in page) == (True, True, True)


def test_the_head_counts_each_advice(client_of: Any, office: Any, lead: Any) -> None:
    """How many leads get which advice, with a way to the first of each."""
    poor = factories.make_job(state="lead", lines=[{"price_cents": 5_000}])
    page = client_of(office).get("/leads/").content.decode()
    assert f'<a href="#lead-{lead.pk}">Take: 1</a>' in page
    assert f'<a href="#lead-{poor.pk}">Decline kindly: 1</a>' in page


def test_agreed_work_that_waits(crew: Any, lead: Any) -> None:
    """Two hours that may be on either of two days ask for one hour of each; what a plan holds asks for none."""
    window = {"first_date": date(2026, 6, 3), "last_date": date(2026, 6, 4)}
    factories.make_job(windows=[window])
    factories.make_planned_day((crew, [factories.make_job()]))
    days = {day.work_date.day: day for day in lead_triage(yard=crew.yard, today=date(2026, 6, 1)).days}
    assert [days[number].waiting_crew_minutes for number in (2, 3, 4, 5)] == [0, 60, 60, 0]
    assert days[2].is_planned


def test_decided_agreed_learned(client_of: Any, office: Any, lead: Any) -> None:
    """Kept beside the advice; the customer's yes is its outcome, once; the close rate moves."""
    before = close_rate_bands()[1].share
    client_of(office).post(f"/leads/{lead.pk}/decide/", {"choice": "take", "price_cents": "400", "reason": ""})
    decision = LeadDecision.objects.get()
    assert (decision.choice, decision.price_cents, decision.card_price_cents) == ("take", 40_000, 40_000)
    job_agree(job=Job.objects.get(pk=lead.pk))
    assert LeadOutcome.objects.get().kind == "agreed"
    assert close_rate_bands()[1].share > before
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE triage_leaddecision SET choice = 'decline'")


def test_a_customers_no(client_of: Any, office: Any, lead: Any) -> None:
    client_of(office).post(f"/leads/{lead.pk}/decide/", {"choice": "take_at", "price_cents": "480"})
    job_decline(job=Job.objects.get(pk=lead.pk), reason="too dear")
    assert LeadOutcome.objects.get().kind == "refused"
    assert close_rate_bands()[3].asked == 1


def test_declined_by_us_is_no_answer(client_of: Any, office: Any, lead: Any) -> None:
    """Wants a reason; takes the lead out of the queue; teaches nothing about prices."""
    client, address = client_of(office), f"/leads/{lead.pk}/decide/"
    client.post(address, {"choice": "decline", "price_cents": "400", "reason": " "})
    assert (LeadDecision.objects.count(), Job.objects.get(pk=lead.pk).state) == (0, "lead")
    client.post(address, {"choice": "decline", "price_cents": "400", "reason": "too far"})
    assert (LeadOutcome.objects.get().kind, Job.objects.get(pk=lead.pk).state) == ("declined", "declined")
    assert sum(band.asked for band in close_rate_bands()) == 0
    client.post(address, {"choice": "take", "price_cents": "400"})
    assert LeadDecision.objects.count() == 1


@pytest.mark.parametrize("body", [{}, {"choice": "fly", "price_cents": "400"}, {"choice": "take", "price_cents": "0"}])
def test_nonsense(client_of: Any, office: Any, lead: Any, body: dict[str, str]) -> None:
    assert client_of(office).post(f"/leads/{lead.pk}/decide/", body).status_code == 302
    assert not LeadDecision.objects.exists()


def test_by_program(client_of: Any, office: Any, lead: Any) -> None:
    client = client_of(office)
    (row,) = client.get("/api/yards/north/leads/").json()
    assert (row["job"], row["advice"], row["fits"][0]["crew"]) == (lead.pk, "take", "Heron")
    address = f"/api/yards/north/leads/{lead.pk}/decision/"
    assert client.post(address, {"choice": "take", "price_cents": 40_000}, "application/json").status_code == 201
    assert client.post(address, {"choice": "decline", "price_cents": 1}, "application/json").status_code == 422
    assert client.get("/api/yards/none/leads/").status_code == 404


def test_on_the_terminal(lead: Any) -> None:
    out = StringIO()
    call_command("leads", stdout=out)
    assert f"job {lead.pk}" in out.getvalue()
    with pytest.raises(CommandError):
        call_command("leads", "nowhere")
