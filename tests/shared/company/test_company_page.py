"""The owner says what the firm is called and where it is; messages carry it."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from shared.company.selectors import company_get
from shared.company.services import company_update
from shared.events.models import Event

pytestmark = pytest.mark.django_db
GOOD = {
    "name": "Sample Wash",
    "street": "1 Yard Lane",
    "city": "Sampleton",
    "region": "OH",
    "postal_code": "00001",
    "country": "us",
    "phone": "(614) 555-0123",
    "email": "office@example.com",
    "timezone": "America/Phoenix",
    "currency": "usd",
    "reminder_lead_days": "20",
    "reminder_gap_days": "90",
    "wage_burden_percent": "15",
}


@pytest.fixture
def page(client_of: Callable[[Any], Client], owner: Any) -> Client:
    return client_of(owner)


def test_the_owner_changes_the_company(page: Client, owner: Any) -> None:
    """Read as people write it, stored, and in the history by the names of its fields."""
    assert page.post("/company/", GOOD).status_code == 302
    company = company_get()
    assert company.postal_address == "1 Yard Lane, Sampleton, OH 00001"
    assert (company.country, company.currency, company.phone_e164) == ("US", "USD", "+16145550123")
    assert (company.timezone, company.reminder_gap_days) == ("America/Phoenix", 90)
    event = Event.objects.get(kind="company.changed")
    assert (event.actor, "street" in event.data["fields"]) == (owner, True)
    assert page.get("/company/").context["form"]["phone"].value() == "+16145550123"


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", ""),
        ("phone", "555"),
        ("phone", "call me"),
        ("email", "no address"),
        ("timezone", "Mars/Base"),
        ("wage_burden_percent", "101"),
        ("reminder_gap_days", "-1"),
        ("country", ""),
    ],
)
def test_a_value_that_cannot_be_is_named(page: Client, field: str, value: str) -> None:
    """The form comes back with the field, and nothing changes."""
    before = company_get().name
    answer = page.post("/company/", GOOD | {field: value})
    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    assert company_get().name == before


def test_storing_the_same_again_leaves_no_event(page: Client) -> None:
    """A history line for each change, none for a press of the button."""
    page.post("/company/", GOOD)
    page.post("/company/", GOOD)
    assert Event.objects.filter(kind="company.changed").count() == 1


def test_only_the_owner_may(client_of: Callable[[Any], Client], office: Any, crew_lead: Any) -> None:
    """Wages and targets hang on it."""
    for user in (office, crew_lead):
        assert client_of(user).get("/company/").status_code == 403
        assert client_of(user).post("/company/", GOOD).status_code == 403


def test_an_unknown_field_is_a_mistake_of_the_caller(owner: Any) -> None:
    """Not silently dropped."""
    with pytest.raises(TypeError):
        company_update(actor=owner, colour="green")
