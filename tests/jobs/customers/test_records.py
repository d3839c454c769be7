"""Services for one customer, property, wall or consent at a time, and their lookup in the admin."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from jobs.customers.services import (
    consent_record,
    customer_create,
    customer_update,
    property_create,
    property_update,
    wall_create,
    wall_update,
)
from jobs.customers.services.index import own_reference
from shared.errors import Refused
from shared.events.models import Event
from shared.people.models import User
from tests.factories import make_customer, make_property, make_wall

pytestmark = pytest.mark.django_db


def test_each_change_is_an_event_with_names_of_fields_only(office):
    """The history says who changed what, and holds no names, numbers or addresses."""
    ann = customer_create(name="Ann Example", phone_e164="+16145550101", actor=office)
    place = property_create(customer=ann, street="12 Elm Street", actor=office)
    wall = wall_create(place=place, name="north wall", actor=office)
    customer_update(customer=ann, note="Calls back", actor=office)
    property_update(place=place, gate_note="#4417", actor=office)
    wall_update(wall=wall, area_sqft=420, actor=office)
    events = list(Event.objects.order_by("pk").values_list("kind", "actor", "data"))
    assert [kind for kind, _, _ in events] == [
        "customer.created", "property.created", "wall.created", "customer.changed", "property.changed", "wall.changed",
    ]  # fmt: skip
    assert {actor for _, actor, _ in events} == {office.pk}
    assert events[-1][2] == {"fields": ["area_sqft"]}
    assert "4417" not in str(events)
    assert "Ann" not in str(events)


def test_saying_the_same_again_is_no_event(office):
    """Nothing differs, nothing is written."""
    ann = make_customer(note="Calls back")
    customer_update(customer=ann, note="Calls back", name=ann.name, actor=office)
    assert not Event.objects.exists()


@pytest.mark.parametrize(
    ("fields", "error"),
    [
        ({"name": ""}, ValidationError),
        ({"name": "Ann", "email": "nobody"}, ValidationError),
        ({"name": "Ann", "phone_e164": "614 555 0101"}, ValidationError),
        ({"name": "Ann", "reference": "C-1"}, ValidationError),
        ({"name": "Ann", "created_at": None}, Refused),
    ],
)
def test_customers_that_cannot_be(office, fields, error):
    """Each is refused before anything is stored."""
    make_customer(reference="C-1")
    with pytest.raises(error):
        customer_create(actor=office, **fields)
    assert not Event.objects.exists()


def test_references_of_the_exports_shape_are_not_given_by_hand(office):
    """They stand for rows without a reference; typed in, they would hit the wrong row."""
    with pytest.raises(Refused):
        customer_create(name="Ann", reference=own_reference(make_customer()), actor=office)
    assert customer_create(name="Ann", reference="#12", actor=office).reference == "#12"


@pytest.mark.parametrize("half", [{"latitude": 40.0}, {"longitude": -82.0}, {"latitude": 91.0, "longitude": 0.0}])
def test_a_place_is_whole_and_on_the_globe(office, half):
    """Half a place, or one that is nowhere, is refused."""
    with pytest.raises(ValidationError):
        property_create(customer=make_customer(), street="12 Elm Street", actor=office, **half)


def test_consent_of_an_unknown_channel_is_refused():
    """Only ways of writing that exist."""
    with pytest.raises(ValidationError):
        consent_record(customer=make_customer(), channel="pigeon", given=True, source="call")


def test_the_admin_finds_them(client):
    """Every list of the admin opens and can be searched; history rows cannot be added."""
    root = User.objects.create_superuser(username="root", password="a long enough password", role="owner")
    client.force_login(root)
    make_wall(property=make_property(street="12 Elm Street"))
    consent_record(customer=make_customer(), channel="email", given=True, source="call")
    for model in ("customer", "property", "wall", "consent"):
        answer = client.get(reverse(f"admin:customers_{model}_changelist"), {"q": "elm"} if model != "consent" else {})
        assert answer.status_code == 200
        assert b"1 " in answer.content
    assert client.get(reverse("admin:customers_consent_add")).status_code == 403
    assert client.get(reverse("admin:customers_customer_add")).status_code == 403
