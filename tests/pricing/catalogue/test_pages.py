"""The rates page."""

from datetime import date

import pytest
import time_machine
from django.core.management import call_command

from pricing.catalogue.models import HourlyTarget, RateCard
from pricing.catalogue.services import catalogue_defaults
from shared.company.selectors import company_get

pytestmark = pytest.mark.django_db
PAGE = "/rates/"


@pytest.fixture(autouse=True)
def today():
    """15 June 2026, noon in New York."""
    with time_machine.travel("2026-06-15T16:00:00Z", tick=False):
        yield


@pytest.fixture
def card():
    return catalogue_defaults(on=date(2026, 1, 1))


def test_everyone_in_the_office_sees_the_card_and_the_target(client_of, office, card):
    """Rates, target and reserve; the form for a new target is the owner's."""
    page = client_of(office).get(PAGE).content.decode()
    for text in (
        "House wash",
        "$26.00",
        "$175.00",
        "$110.00",
        "2026-01-01",
        "common practice, no source",
        "$416.00 / $312.00",
    ):
        assert text in page
    assert "Set this target" not in page


def test_a_crew_lead_sees_no_rates(client_of, crew_lead, card):
    """Prices and targets are not for the crew."""
    client = client_of(crew_lead)
    assert client.get(PAGE).status_code == 403
    assert client.post("/rates/target/", {}).status_code == 403


def send(client, **over):
    values = {"effective_from": "2026-07-01", "target": "190.00", "reserve": "120", **over}
    return client.post("/rates/target/", values)


def test_the_owner_sets_a_target_from_a_day(client_of, owner, card):
    """The new one is to come, the old one stays in force and in the list."""
    answer = send(client_of(owner))
    assert (answer.status_code, answer.url) == (302, PAGE)
    page = client_of(owner).get(PAGE).content.decode()
    assert page.index("to come") < page.index("<td>in force</td>")
    assert HourlyTarget.objects.get(effective_from=date(2026, 7, 1)).target_cents_per_crew_hour == 190_00


@pytest.mark.parametrize(
    ("over", "words"),
    [
        ({"reserve": "190.01"}, "must not be above the target"),
        ({"effective_from": "2026-06-14"}, "today or later"),
        ({"target": "a lot"}, "Enter a number"),
        ({"target": "0"}, "greater than or equal to 1"),
        ({"target": "10000.01"}, "less than or equal to 10000"),
        ({"reserve": "-1"}, "greater than or equal to 0"),
    ],
)
def test_what_is_wrong_with_a_target_is_said(client_of, owner, card, over, words):
    """The page comes back with the reason, and nothing is set."""
    answer = send(client_of(owner), **over)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert HourlyTarget.objects.count() == 1


def test_the_office_cannot_set_a_target(client_of, office, card):
    """Only the owner decides what an hour must bring."""
    assert send(client_of(office)).status_code == 403
    assert HourlyTarget.objects.count() == 1


def test_a_fresh_company_starts_with_one_press(client_of, owner, office):
    """The button is the owner's; pressing it twice makes one card."""
    assert "Start with common values" not in client_of(office).get(PAGE).content.decode()
    assert client_of(office).post("/rates/start/").status_code == 403
    client = client_of(owner)
    assert "Start with common values" in client.get(PAGE).content.decode()
    for _ in range(2):
        assert client.post("/rates/start/").status_code == 302
    assert RateCard.objects.get().effective_from == date(2026, 6, 15)
    assert "Start with common values" not in client.get(PAGE).content.decode()


def test_the_command_does_the_same(capsys):
    """For a company that is set up in a terminal."""
    call_command("catalogue_defaults")
    assert "Rate card from 2026-06-15: 8 services." in capsys.readouterr().out


def test_the_page_takes_the_same_few_queries_for_any_number_of_rates(client_of, owner, card, assert_query_count):
    """Card, rates, targets, company, session and user."""
    company_get()
    client = client_of(owner)
    with assert_query_count("rates page"):
        client.get(PAGE)


@pytest.mark.parametrize("model", ["service", "skill", "ratecard", "hourlytarget"])
def test_the_admin_lists_the_rest(client_of, owner, card, model):
    """Each list and, where one may add, the form opens."""
    owner.is_staff = owner.is_superuser = True
    owner.save()
    client = client_of(owner)
    assert client.get(f"/admin/catalogue/{model}/").status_code == 200
    assert client.get(f"/admin/catalogue/{model}/add/").status_code == (
        403 if model in ("ratecard", "hourlytarget") else 200
    )


def test_the_owner_enters_a_tax_and_nothing_is_assumed(client_of, owner, office, card):
    """Without one the page says so; a past day and 100 percent come back with the reason; the API lists it."""
    client, form = client_of(owner), {"name": "Sales tax", "effective_from": "2026-06-15", "rate_millionths": "7.25"}
    assert "No tax is assumed" in client.get(PAGE).content.decode()
    assert client_of(office).post("/rates/tax/", form).status_code == 403
    past = client.post("/rates/tax/", {**form, "effective_from": "2026-06-14"})
    assert (past.status_code, "today or later" in past.content.decode()) == (422, True)
    assert client.post("/rates/tax/", {**form, "rate_millionths": "100"}).status_code == 422
    assert client.post("/rates/tax/", form).status_code == 302
    assert "begin with 7.25%" in client.get(PAGE).content.decode()
    listed = [{"name": "Sales tax", "effective_from": "2026-06-15", "rate_millionths": 72500}]
    assert client.get("/api/taxes/").json() == listed
    county = {"name": "County", "effective_from": "2026-06-16", "rate_millionths": 930_000}
    answer = client.post("/api/taxes/", county, content_type="application/json")
    assert (answer.status_code, answer.json()["detail"]) == (422, "All taxes together must stay below 100 percent.")
