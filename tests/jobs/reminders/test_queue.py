"""Writing reminders: word for word as previewed, once each, and only to those who may be written to."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from unittest import mock

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.customers.models import Customer
from jobs.reminders import services
from jobs.reminders.models import Reminder
from jobs.reminders.selectors import due_list
from jobs.reminders.services import QueueResult, opt_out_record, reminder_preview, reminders_queue
from shared.errors import Refused
from shared.outbox.delivery import address_close
from shared.outbox.models import Message
from shared.outbox.services import messages_dispatch
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
TODAY = date(2026, 6, 1)


@pytest.fixture(autouse=True)
def company() -> Any:
    return make.set_company()


def keys() -> list[str]:
    return [item.key for item in due_list(today=TODAY) if item.is_ready]


def queue(*chosen: str, actor: Any = None) -> QueueResult:
    return reminders_queue(keys=list(chosen) or keys(), actor=actor, now=NOW)


def test_what_is_previewed_is_what_is_queued() -> None:
    """Subject, text, headers, recipient and language of the row are those of the preview."""
    make.make_interval(property=make.make_property(customer=make.make_customer(language="es")))
    (draft,) = reminder_preview(keys=keys(), now=NOW).drafts
    assert not Message.objects.exists()
    queue()
    message = Message.objects.get()
    assert (message.subject, message.body, message.headers) == (draft.subject, draft.body, draft.headers)
    assert (message.recipient, message.language) == (draft.recipient, "es")
    assert (message.quiet_zone, message.not_after) == ("America/New_York", NOW + timedelta(days=7))


def test_queueing_twice_writes_once(office: Any) -> None:
    """The second call says why it left everything out; who queued it is kept."""
    make.make_interval()
    chosen = keys()
    assert queue(*chosen, actor=office).reminders == 1
    again = queue(*chosen)
    assert (again.reminders, again.skipped[0].reason) == (0, "reminded of this on 1 June 2026")
    assert Reminder.objects.get().created_by == office


def test_one_message_carries_all_that_is_due_at_one_customers() -> None:
    """Two services at two properties: one mail that names all four, and a reminder for each."""
    customer = make.make_customer()
    places = [make.make_property(customer=customer, street=f"{n} Sample Street") for n in (12, 14)]
    services_due = [make.make_service(name="House wash"), make.make_service(name="Gutter clearing")]
    for place in places:
        for service in services_due:
            make.make_interval(property=place, service=service)
    result = queue()
    assert (len(result.message_ids), result.reminders) == (1, 4)
    message = Message.objects.get()
    assert message.subject == "Due at your properties: house wash, gutter clearing"
    assert [message.body.count(f"{n} Sample Street") for n in (12, 14)] == [2, 2]


def test_consent_is_looked_at_again_when_it_is_queued() -> None:
    """An opt-out between choosing and queueing counts."""
    interval = make.make_interval(property=make.make_property(customer=make.make_customer(phone_e164="")))
    chosen = keys()
    make.make_consent(customer=interval.property.customer)
    result = queue(*chosen)
    assert (result.reminders, Message.objects.count()) == (0, 0)
    assert result.skipped[0].reason.startswith("opted out of email")


def test_what_is_no_longer_due_is_left_out() -> None:
    """Somebody agreed to the wash meanwhile; and a key of another date names nothing."""
    interval = make.make_interval()
    chosen = keys()
    make.make_job(property=interval.property, lines=[{"service": interval.service}])
    result = queue(*chosen, f"{interval.property_id}:{interval.service.code}:2001-01-01", "999999:chalk:2026-01-01")
    assert [skip.reason for skip in result.skipped] == ["It is not due any more."] * 3


@pytest.mark.parametrize("key", ["", "x", "1", ":", "one:chalk:2026-01-01", "-1:a:2026-01-01", "9" * 30 + ":a:b"])
def test_a_key_that_names_nothing_is_refused(key: str) -> None:
    """Before anything is written."""
    make.make_interval()
    with pytest.raises(Refused):
        queue(*keys(), key)
    assert not Message.objects.exists()


def test_a_choice_from_a_longer_list_is_honoured() -> None:
    """The office looked 90 days ahead and chose what is due then."""
    make.make_interval(next_due_on=TODAY + timedelta(days=80))
    (item,) = due_list(today=TODAY, lead_days=90)
    assert queue(item.key).reminders == 1


def test_without_a_postal_address_mail_is_refused_with_what_to_do() -> None:
    """The law wants it in every such mail; the reason says where to set it."""
    make.set_company(street="", city="", region="", postal_code="")
    make.make_interval()
    result = queue()
    assert not Message.objects.exists()
    assert result.skipped[0].reason == "Mail needs the company's postal address. Set it under Company."


def test_a_claim_in_the_name_of_a_service_is_refused() -> None:
    """The office may call a service what it likes; it may not promise to kill mold in a message."""
    make.make_interval(service=make.make_service(name="Wash that kills mold"))
    result = queue()
    assert "registered product" in result.skipped[0].reason
    assert not Reminder.objects.exists()


def test_a_race_for_the_same_key_is_lost_without_a_trace() -> None:
    """Somebody else wrote the row between the look and the write: one reminder, and the loser is told."""
    make.make_interval()
    chosen = keys()
    real = services.drafts_of

    def other_was_faster(groups: Any, *, now: datetime) -> Any:
        drafted = real(groups, now=now)
        place, kind, due_on = groups[0].keys[0].split(":")
        Reminder.objects.create(
            property_id=int(place),
            kind=kind,
            due_on=due_on,
            reason="",
            message=make.make_message(),
            created_at=now,
        )
        return drafted

    with mock.patch.object(services, "drafts_of", other_was_faster):
        result = queue(*chosen)
    assert (result.reminders, result.skipped[0].reason) == (0, "Somebody else queued it just now.")
    assert not Message.objects.filter(purpose="reminder").exists()


def test_a_text_goes_to_those_who_agreed() -> None:
    """No mail address, recorded consent for texts: a text message within one part, with name, number and opt-out."""
    customer = make.make_customer(email="", name="Ann Sample")
    make.make_consent(customer=customer, channel="text", given=True)
    make.make_interval(property=make.make_property(customer=customer, street="12 Sample Street"))
    (draft,) = reminder_preview(keys=keys(), now=NOW).drafts
    assert draft.sms
    assert (draft.sms.encoding, draft.sms.parts) == ("GSM-7", 1)
    assert draft.body.startswith("Sample Wash: due at 12 Sample Street: house wash.")
    assert "(555) 555-0100" in draft.body
    assert not draft.findings


def test_spanish_texts_stay_in_the_cheap_alphabet() -> None:
    """Words without the accents that would double the price."""
    customer = make.make_customer(email="", language="es")
    make.make_consent(customer=customer, channel="text", given=True)
    make.make_interval(
        property=make.make_property(customer=customer, street="12 Sample Street"),
        service=make.make_service(name="House wash", name_es="Eliminación de moho"),
    )
    (draft,) = reminder_preview(keys=keys(), now=NOW).drafts
    assert draft.sms
    assert (draft.sms.encoding, draft.sms.parts) == ("GSM-7", 1)
    assert draft.body.startswith("Sample Wash: toca eliminacion de moho en 12 Sample Street.")


def test_a_long_text_is_warned_about_and_not_refused() -> None:
    """More than one part is shown as such; the office decides. Further things do not make it longer."""
    customer = make.make_customer(email="")
    make.make_consent(customer=customer, channel="text", given=True)
    place = make.make_property(customer=customer, street="12 " + "Very " * 20 + "Long Street")
    for number in range(9):
        make.make_interval(property=place, service=make.make_service(name=f"Service {number}"))
    (draft,) = reminder_preview(keys=keys(), now=NOW).drafts
    assert [finding.code for finding in draft.findings] == ["many_parts"]
    assert ": service 0 and 8 more." in draft.body
    assert draft.refusals == []
    assert queue().reminders == 9


@pytest.mark.parametrize(
    ("language", "expected"),
    [
        ("en", "On 2 June 2025 the chalk on the south wall at 12 Sample Street read 3 on our scale of 0 (none) to 5."),
        ("es", "El 2 de junio de 2025 la tiza (polvo blanco que deja el sol) en la pared sur de 12 Sample Street"),
    ],
)
def test_chalk_is_told_as_a_fact_of_the_own_wall(language: str, expected: str) -> None:
    """Wall, date and reading, in the customer's language; no more than what was read."""
    make.make_service(name="Chalk removal", name_es="Eliminación de tiza", removes_chalk=True, interval_months=48)
    place = make.make_property(street="12 Sample Street", customer=make.make_customer(language=language))
    wall = make.make_wall(property=place, name="South wall", facing_degrees=180)
    make.make_reading(wall=wall, reading=3, read_on=date(2025, 6, 2))
    (draft,) = reminder_preview(keys=keys(), now=NOW).drafts
    assert expected in draft.body
    assert not draft.findings


def test_nothing_in_a_message_is_escaped_for_html() -> None:
    """Plain text: an ampersand stays one."""
    make.set_company(name="Wash & Co")
    make.make_interval(property=make.make_property(customer=make.make_customer(name="O'Hara <& Sons>")))
    (draft,) = reminder_preview(keys=keys(), now=NOW).drafts
    assert "Hello O'Hara <& Sons>," in draft.body
    assert "Wash & Co" in draft.body


def test_an_opt_out_drops_what_waits_and_writes_one_row() -> None:
    """At once, for everybody at the address; saying it again writes nothing."""
    first = make.make_customer(email="home@example.com")
    second = make.make_customer(email="HOME@example.com")
    make.make_interval(property=make.make_property(customer=second))
    queue()
    said = {"channel": "email", "everything": False, "wording": "No more", "source": "page", "now": NOW}
    assert opt_out_record(customer=first, **said) == 2
    assert Message.objects.get().state == "dropped"
    assert opt_out_record(customer=second, **said) == 0


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL chooses by the size of the table")
@pytest.mark.parametrize("closing", ["opted out", "came back"])
def test_what_waits_for_one_person_is_found_without_reading_the_backlog(closing: str) -> None:
    """By the reminders of the person and by the address, each in its index, however long the line is."""
    make.make_interval()
    queue()
    customer, message = Customer.objects.get(), Message.objects.get()
    with CaptureQueriesContext(connection) as asked:
        if closing == "opted out":
            opt_out_record(customer=customer, channel="email", everything=True, wording="", source="page", now=NOW)
        else:
            about = {"message": message.pk}
            address_close(
                channel="email", address=customer.email.upper(), kind="bounced", detail="", about=about, at=NOW
            )  # fmt: skip
    message.refresh_from_db()
    assert message.state == "dropped"
    steps = [step for query in asked.captured_queries for step in plan_of(query["sql"]) if " outbox_message" in step]
    assert steps
    assert all("PRIMARY KEY" in step or "message_to_one" in step for step in steps), steps


def plan_of(sql: str) -> list[str]:
    """How SQLite finds the rows."""
    if not sql.startswith(("SELECT", "UPDATE")):
        return []
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {sql}")
        return [row[3] for row in cursor.fetchall()]


def test_no_messages_of_any_kind_covers_every_channel() -> None:
    """One row for each channel, for all purposes."""
    customer = make.make_customer()
    opt_out_record(customer=customer, channel="email", everything=True, wording="None", source="page", now=NOW)
    rows = customer.consents.order_by("channel").values_list("channel", "purpose", "given")
    assert list(rows) == [("email", "all", False), ("text", "all", False)]


@pytest.mark.parametrize("change", ["opted out", "other address", "property given away"])
def test_the_last_look_before_sending_sees_what_changed(change: str) -> None:
    """Between queueing and sending the customer opted out, moved mail or was merged: the message is dropped."""
    interval = make.make_interval()
    queue()
    customer = interval.property.customer
    if change == "opted out":
        make.make_consent(customer=customer)
    elif change == "other address":
        customer.email = "new@example.com"
        customer.save()
    else:
        interval.property.customer = make.make_customer()
        interval.property.save()
    result = messages_dispatch(now=NOW)
    assert (result.sent, result.dropped) == (0, 1)
