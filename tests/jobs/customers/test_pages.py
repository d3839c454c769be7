"""Pages of customers and properties: lists, one of each, changing them; who may open them."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from jobs.customers.models import Consent, Customer, Property, Wall
from jobs.customers.words import EVENT_WORDS
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminders_queue
from jobs.work.models import ServiceInterval
from jobs.work.services import visit_record
from shared.events.models import Event
from shared.events.services import event_record
from shared.outbox.models import Message
from tests import factories as make
from tests.factories import make_customer, make_job, make_property, make_reading, make_service, make_wall

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(office, client_of) -> Client:
    return client_of(office)


@pytest.fixture
def ann(db) -> Customer:
    return make_customer(name="Ann Example")


def page_of(name: str, *args) -> str:
    return reverse(f"customers:{name}", args=args)


def pages() -> list[str]:
    place = make_property(customer=make_customer(name="Ann Example"))
    wall = make_wall(property=place)
    return [
        page_of("customer_list"),
        page_of("customer_new"),
        page_of("customer_page", place.customer_id),
        page_of("customer_edit", place.customer_id),
        page_of("property_new", place.customer_id),
        page_of("property_list"),
        page_of("property_page", place.pk),
        page_of("property_edit", place.pk),
        page_of("wall_new", place.pk),
        page_of("wall_edit", wall.pk),
        page_of("import_start"),
        page_of("export", "customers"),
        page_of("export", "jobs"),
    ]


def test_every_page_opens_for_the_office_and_the_owner(office, owner, client_of):
    """Each page answers, as a page of its own."""
    for address in pages():
        for user in (office, owner):
            assert client_of(user).get(address).status_code == 200, address


def test_no_page_opens_for_a_crew_lead_or_a_stranger(crew_lead, client_of):
    """A crew lead is refused; somebody who is not signed in is sent to do so."""
    for address in pages():
        assert client_of(crew_lead).get(address).status_code == 403, address
        assert Client().get(address).status_code == 302, address


def test_changes_need_the_token_of_the_page(office):
    """A post without the CSRF token is refused and changes nothing."""
    client = Client(enforce_csrf_checks=True)
    client.force_login(office)
    customer = make_customer(name="Ann")
    for address in (page_of("customer_edit", customer.pk), page_of("consent", customer.pk), page_of("import_start")):
        assert client.post(address, {"name": "Eve"}).status_code == 400
    customer.refresh_from_db()
    assert customer.name == "Ann"


def test_the_list_finds_by_name_street_number_and_mail(client):
    """All words must fit, in whatever field."""
    ann = make_customer(name="Ann Example", phone_e164="+16145550101", email="ann@example.com")
    make_property(customer=ann, street="12 Elm Street")
    make_customer(name="Bob Sample", phone_e164="+16145550102", email="bob@example.com")
    for words in ("ann", "elm", "555-0101", "ann@example", "example 12"):
        text = client.get(page_of("customer_list"), {"words": words}).content.decode()
        assert "Ann Example" in text, words
        assert "Bob Sample" not in text, words
    assert "No customer fits" in client.get(page_of("customer_list"), {"words": "nobody"}).content.decode()


@pytest.mark.parametrize(("name", "table"), [("customer_list", "Customers"), ("property_list", "Properties")])
def test_htmx_gets_the_rows_and_nothing_else(client, name, table):
    """With HTMX only the part comes, and caches are told that answers differ."""
    make_property(street="12 Elm Street")
    whole = client.get(page_of(name), {"words": "elm"})
    part = client.get(page_of(name), {"words": "elm"}, headers={"HX-Request": "true"})
    assert "<html" in whole.content.decode()
    assert "<html" not in part.content.decode()
    assert "12 Elm Street" in part.content.decode()
    assert "HX-Request" in part["Vary"]


def test_lists_take_few_queries(client, assert_query_count):
    """However many rows, the number of queries stays."""
    for _ in range(12):
        make_property()
    for name in ("customer_list", "property_list"):
        with assert_query_count(f"customers {name}"):
            client.get(page_of(name))


def test_taking_down_a_customer_and_a_property(client, office):
    """The two forms after each other; numbers are stored as E.164, the history names who did it."""
    answer = client.post(
        page_of("customer_new"), {"name": "Ann Example", "phone_e164": "(614) 555-0101", "language": "en"}
    )
    ann = Customer.objects.get()
    assert ann.phone_e164 == "+16145550101"
    assert answer["Location"] == page_of("property_new", ann.pk)
    answer = client.post(page_of("property_new", ann.pk), {"street": "12 Elm Street", "storeys": 2, "gate_note": "#4"})
    place = Property.objects.get()
    assert answer["Location"] == page_of("property_page", place.pk)
    assert (place.customer, place.storeys, place.gate_note) == (ann, 2, "#4")
    assert set(Event.objects.values_list("kind", "actor")) == {
        ("customer.created", office.pk),
        ("property.created", office.pk),
    }


def test_a_form_that_is_not_accepted_says_why(client):
    """Wrong values come back with the words, status 422, and nothing is stored."""
    answer = client.post(page_of("customer_new"), {"name": "Ann", "phone_e164": "555-0101", "language": "en"})
    assert answer.status_code == 422
    assert "The area code is missing." in answer.content.decode()
    ann = make_customer(name="Ann")
    answer = client.post(page_of("property_new", ann.pk), {"street": "1 Elm", "storeys": 1, "latitude": 40})
    assert answer.status_code == 422
    assert "give both or neither" in answer.content.decode()
    assert not Property.objects.exists()


def test_changing_a_customer_keeps_the_number_as_stored(client):
    """The form shows the number as people write it, and saving it unchanged changes nothing."""
    ann = make_customer(name="Ann", phone_e164="+16145550101", email="ann@example.com")
    text = client.get(page_of("customer_edit", ann.pk)).content.decode()
    assert "(614) 555-0101" in text
    fields = {"name": "Ann B", "phone_e164": "(614) 555-0101", "email": "ann@example.com", "language": "en"}
    assert client.post(page_of("customer_edit", ann.pk), fields).status_code == 302
    ann.refresh_from_db()
    assert (ann.name, ann.phone_e164) == ("Ann B", "+16145550101")
    assert Event.objects.get().data == {"fields": ["name"]}


def test_walls_are_added_and_changed(client):
    """A wall with its material and facing; a second of the same name is refused with words."""
    place = make_property()
    fields = {"name": "north wall", "kind": "face", "material": "vinyl", "facing_degrees": 0, "storeys": 1}
    fields |= {"shade": "open", "old_paint": "no"}
    assert client.post(page_of("wall_new", place.pk), fields).status_code == 302
    assert client.post(page_of("wall_new", place.pk), fields).status_code == 422
    wall = Wall.objects.get()
    assert client.post(page_of("wall_edit", wall.pk), {**fields, "area_sqft": 420}).status_code == 302
    wall.refresh_from_db()
    assert wall.area_sqft == 420


def test_consent_is_written_down_and_never_overwritten(client, office):
    """Yes, then no: two rows, the newest counts, and the page says so in words."""
    ann = make_customer()
    client.post(page_of("consent", ann.pk), {"channel": "email", "given": "yes"})
    client.post(page_of("consent", ann.pk), {"channel": "email", "given": "no"})
    assert list(Consent.objects.order_by("pk").values_list("given", flat=True)) == [True, False]
    assert Consent.objects.first().recorded_by == office
    assert "no, opted out" in client.get(page_of("customer_page", ann.pk)).content.decode()
    client.post(page_of("consent", ann.pk), {"channel": "pigeon", "given": "yes"})
    assert Consent.objects.count() == 2


def test_the_property_page_shows_walls_readings_history_and_due_dates(client):
    """What a planner wants to know of a house stands on one page."""
    place = make_property(gate_note="code 4417", pet_note="Rex bites")
    wall = make_wall(property=place, name="south wall", material="aluminium", facing_degrees=180, area_sqft=640)
    make_reading(wall=wall, reading=Decimal("1.0"), read_on=date(2025, 5, 1))
    make_reading(wall=wall, reading=Decimal("2.5"), read_on=date(2026, 5, 1))
    wash = make_service(name="House wash", interval_months=12)
    job = make_job(property=place, lines=[{"service": wash, "price_cents": 41_250}])
    visit_record(job=job, work_date=date(2026, 5, 4), on_site_minutes=100)
    text = client.get(page_of("property_page", place.pk)).content.decode()
    expected = ("code 4417", "Rex bites", "south wall", "aluminium", "180°", "640 sq ft", "2.5 of 5 on 2026-05-01",
                "chalky", "2026-05-04", "$412.50", "2027-05-04")  # fmt: skip
    for words in expected:
        assert words in text, words
    assert ServiceInterval.objects.count() == 1


def test_text_of_customers_is_never_markup(client):
    """A name with tags is shown as it is written."""
    ann = make_customer(name="<script>alert(1)</script>", note="<b>bold</b>")
    for address in (page_of("customer_list"), page_of("customer_page", ann.pk)):
        text = client.get(address).content.decode()
        assert "<script>alert" not in text
        assert "<b>bold" not in text
        assert "&lt;script&gt;" in text


def test_pages_hold_no_inline_style_or_script(client):
    """The content security policy forbids both, so a page that has them would lose them."""
    for address in pages()[:-2]:
        text = client.get(address).content.decode()
        assert " style=" not in text, address
        assert " onclick=" not in text, address
        assert "<script>" not in text, address


def test_unknown_numbers_are_not_found(client):
    """A page of nothing says so."""
    for name in ("customer_page", "property_page", "wall_edit"):
        assert client.get(page_of(name, 999_999)).status_code == 404


def test_what_they_said_is_kept_in_their_words(client, office, ann):
    """With the purpose, the way, the time and who wrote it down; the words stand on the page."""
    said = {"channel": "text", "given": "yes", "purpose": "service", "wording": "Text me when you are <near>"}
    client.post(page_of("consent", ann.pk), said)
    consent = ann.consents.get()
    assert (consent.purpose, consent.given, consent.source, consent.recorded_by) == ("service", True, "office", office)
    page = client.get(page_of("customer_page", ann.pk)).content.decode()
    assert "<q>Text me when you are &lt;near&gt;</q>" in page
    client.post(page_of("consent", ann.pk), {**said, "wording": "x" * 501})
    assert ann.consents.count() == 1


def test_a_no_drops_what_waits_at_once(client, office, ann):
    """For everybody at the address; a no about booked work leaves reminders alone."""
    make.set_company()
    make.make_interval(property=make.make_property(customer=ann), next_due_on=date(2026, 6, 1))
    now = datetime(2026, 6, 1, 16, tzinfo=UTC)
    reminders_queue(keys=[item.key for item in due_list(today=now.date())], actor=None, now=now, hold_back=False)
    client.post(page_of("consent", ann.pk), {"channel": "email", "given": "no", "purpose": "service"})
    assert Message.objects.get().state == "waiting"
    client.post(page_of("consent", ann.pk), {"channel": "email", "given": "no", "wording": "No more, please"})
    assert (Message.objects.get().state, Message.objects.get().problem) == ("dropped", "The customer opted out.")
    assert ann.consents.filter(purpose="all", given=False).get().wording == "No more, please"


def test_programs_read_and_write_consents(client, office, ann):
    """The whole history; a wrong channel is refused and nothing is kept."""
    path = f"/api/customers/{ann.pk}/consents/"
    said = {"channel": "text", "given": True, "source": "form", "wording": "Yes to texts"}
    assert client.post(path, said, content_type="application/json").status_code == 201
    assert client.post(path, {**said, "given": False}, content_type="application/json").status_code == 201
    assert [(row["given"], row["purpose"], row["source"]) for row in client.get(path).json()] == [
        (False, "all", "form"), (True, "all", "form"),
    ]  # fmt: skip
    assert client.post(path, {**said, "channel": "pigeon"}, content_type="application/json").status_code == 400
    assert ann.consents.count() == 2


def test_what_happened_is_told_in_words(client, ann):
    """No kind of event as the database calls it; one that a newer version wrote is shown as it is."""
    for kind in (*EVENT_WORDS, "customer.from_tomorrow"):
        event_record(kind=kind, subject=ann, data={"fields": ["email", "phone_e164"]})
    shown = client.get(page_of("customer_page", ann.pk)).content.decode()
    assert [kind for kind in EVENT_WORDS if kind in shown] == []
    for words in ("answered a reminder: not now", "customer.from_tomorrow", "changed: email, telephone"):
        assert words in shown, words
    assert "phone_e164" not in shown
