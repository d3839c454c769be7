"""Letters beyond ASCII are compared alike on both databases; run on each, the tests say the same."""

from importlib import import_module
from typing import Any

import pytest
from django.apps import apps
from django.db import connection
from django.test import Client
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from jobs.customers.models import Customer
from jobs.customers.selectors import customer_list, lookalikes, neighbours_of, property_list
from jobs.customers.services import customer_create
from jobs.reminders.domain.consent import choose_channel
from jobs.reminders.rows import addresses_of, consents_by_address, consents_of
from jobs.work.selectors import job_list
from shared.letters import small_beyond_ascii
from shared.outbox.models import Channel, Message
from shared.outbox.services import message_queue
from tests import factories as make

# Latin letters, without the two that are a capital of i and s in one database's eyes only; Greek and Cyrillic.
LETTERS = st.characters(codec="utf-8", categories=("Lu", "Ll"), max_codepoint=0x44F, exclude_characters="ıſ")
TEXTS = st.text(st.one_of(LETTERS, st.sampled_from(" .'-%_\\")), min_size=1, max_size=8)


@pytest.fixture
def house(db: None) -> Any:
    person = make.make_customer(name="Émile Muñoz")
    return make.make_property(customer=person, street="4 RUE DE L'ÉTANG", city="Peñasco")


@pytest.mark.parametrize("words", ["émile", "MUÑOZ", "étang", "ÉTANG", "peñasco muñoz"])
def test_words_find_people_and_places_whatever_their_letters(house: Any, words: str) -> None:
    """In every list that is searched by name, street or city."""
    job = make.make_job(property=house)
    assert list(property_list(words=words)) == [house]
    assert list(job_list(words=words)) == [job]
    if "peñasco" not in words:  # the list of customers is not searched by city
        assert list(customer_list(words=words)) == [house.customer]


def test_neighbours_are_found_by_their_street_and_city(house: Any) -> None:
    near = make.make_property(street="9 Rue de l'étang", city="PEÑASCO")
    make.make_property(street="9 Elm Street", city="Elsewhere")
    assert neighbours_of(house) == [near]


@pytest.mark.django_db
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@example("É", "é")
@example("ß", "SS")
@example("50%_\\é", "é")
@given(TEXTS, TEXTS)
def test_the_database_finds_what_folded_letters_find(stored: str, words: str) -> None:
    """Contained, begun with, ended with, the same: as if each letter were its one capital, and % and _ only signs."""

    def folded(text: str) -> str:
        return "".join(each.upper() if len(each.upper()) == 1 else each for each in text)

    row = Customer.objects.create(name=stored, created_at=make.MOMENT)
    have, want = folded(stored), folded(words)
    found = {
        lookup: Customer.objects.filter(pk=row.pk, **{f"name__{lookup}": words}).exists()
        for lookup in ("icontains", "istartswith", "iendswith", "iexact")
    }
    assert found == {
        "icontains": want in have,
        "istartswith": have.startswith(want),
        "iendswith": have.endswith(want),
        "iexact": have == want,
    }
    row.delete()


@pytest.mark.django_db
@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
@example("İ")
@example("Σ")
@example("K")
@given(st.text(st.characters(codec="utf-8", categories=("Lu", "Ll", "Lt")), max_size=6))
def test_lower_says_the_same_everywhere(text: str) -> None:
    """Of what is stored, in the database and in Python."""
    stored = small_beyond_ascii(text)
    with connection.cursor() as cursor:
        cursor.execute("SELECT LOWER(%s)", [stored])
        (lowered,) = cursor.fetchone()
    assert lowered == stored.lower()
    assert stored == text or not text.isascii()


@pytest.mark.django_db
def test_an_opt_out_holds_for_the_same_address_in_other_letters(office: Any) -> None:
    """Of another entry with the address, and the two are found to be alike."""
    said_no = customer_create(actor=office, name="Ann Example", email="Ann@ÉCOLE.example.com")
    other = customer_create(actor=office, name="A. Example", email="ann@école.example.com")
    make.make_consent(customer=said_no, channel=Channel.EMAIL, given=False)
    said_no.refresh_from_db()
    assert said_no.email == "Ann@éCOLE.example.com"
    for customer in (said_no, other):
        said = consents_of(customer, consents_by_address({customer}))
        assert not choose_channel(said, addresses_of(customer)).channel
    assert [(look.first, look.second) for look in lookalikes(customer=other)] == [(said_no, other)]
    assert list(Customer.objects.filter(email="Ann@ÉCOLE.example.com")) == [said_no]


@pytest.mark.django_db
def test_a_message_goes_to_an_address_in_small_letters() -> None:
    """By which the week's messages to one address are counted."""
    message, _new = message_queue(
        dedupe_key="k", channel="email", purpose="reminder", recipient="ann@ÉCOLE.example.com", recipient_name="Ann",
        subject="Due", body="Due",
    )  # fmt: skip
    assert Message.objects.get(pk=message.pk).recipient == "ann@éCOLE.example.com"


@pytest.mark.django_db
def test_addresses_from_before_are_made_small() -> None:
    customer, other = make.make_customer(email="a@example.com"), make.make_customer(email="B@example.com")
    with connection.cursor() as cursor:
        cursor.execute("UPDATE customers_customer SET email = %s WHERE id = %s", ["a@ÉCOLE.example.com", customer.pk])
    import_module("jobs.customers.migrations.0013_mail_in_small_letters").make_small(apps, None)
    customer.refresh_from_db(), other.refresh_from_db()
    assert (customer.email, other.email) == ("a@éCOLE.example.com", "B@example.com")


@pytest.mark.parametrize("page", ["/customers/", "/properties/", "/jobs/"])
def test_pages_find_them(house: Any, client_of: Any, office: Any, page: str) -> None:
    make.make_job(property=house)
    client: Client = client_of(office)
    assert "Muñoz" in client.get(page, {"words": "MUÑOZ"}).content.decode()
