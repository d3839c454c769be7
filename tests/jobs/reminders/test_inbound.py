"""Texts that come in: an opt-out is honoured at once and confirmed once; a doubtful one holds reminders back."""

import base64
import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from standardwebhooks import Webhook

from jobs.customers.models import Consent
from jobs.reminders.inbound import inbound_text_read, inbound_text_take
from jobs.reminders.models import InboundText
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminders_queue
from jobs.work.models import ServiceInterval
from shared.errors import Conflict, Refused
from shared.outbox.domain.sms import sms_count
from shared.outbox.models import BlockedAddress, Message
from shared.outbox.services import messages_dispatch
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
PHONE = "+16145550101"
SECRET = "whsec_" + base64.b64encode(b"only for tests, 24 bytes").decode()


@pytest.fixture
def ann() -> Any:
    """A customer with a due wash, who agreed to texts and has no mailbox."""
    make.set_company(name="Sample Washing", phone_e164="+16145550100", timezone="America/New_York")
    person = make.make_customer(name="Ann Example", email="", phone_e164=PHONE)
    Consent.objects.create(customer=person, channel="text", purpose="all", given=True, at=NOW - timedelta(days=9))
    ServiceInterval.objects.create(
        property=make.make_property(customer=person, latitude=33.45, longitude=-112.07),
        service=make.make_service(),
        interval_months=12,
        next_due_on=date(2026, 6, 10),
    )
    return person


def take(body: str, event: str = "event-1", sender: str = PHONE, at: datetime = NOW) -> InboundText | None:
    return inbound_text_take(event=event, sender=sender, body=body, at=at)


def keys() -> list[str]:
    return [item.key for item in due_list(today=NOW.date()) if item.is_ready]


def why_not() -> str:
    (item,) = due_list(today=NOW.date())
    return item.why_not


def test_stop_is_honoured_in_the_same_moment(ann: Any) -> None:
    """What waits is dropped, nothing new may be queued, and one confirmation leaves, at night as well."""
    (message_id,) = reminders_queue(keys=keys(), actor=None, now=NOW).message_ids
    night = datetime(2026, 6, 2, 4, tzinfo=UTC)
    take("Stop.", at=night)
    assert Message.objects.get(pk=message_id).state == "dropped"
    ServiceInterval.objects.update(next_due_on=date(2026, 6, 11))
    assert "opted out of text messages" in why_not()
    confirmation = Message.objects.get(purpose="opt_out_confirmation")
    assert confirmation.not_after == night + timedelta(minutes=5)
    assert messages_dispatch(now=night + timedelta(minutes=1)).sent == 1
    assert "no more texts" in confirmation.body
    assert sms_count(confirmation.body).parts == 1


def test_there_is_one_confirmation_and_no_more(ann: Any) -> None:
    """Saying it twice, or the gateway repeating itself, writes no second one."""
    take("STOP")
    take("STOP")
    take("stop!!", event="event-2", at=NOW + timedelta(minutes=1))
    assert Message.objects.filter(purpose="opt_out_confirmation").count() == 1
    assert InboundText.objects.count() == 2
    assert Consent.objects.filter(given=False).count() == 1


def test_a_confirmation_that_could_not_leave_in_five_minutes_never_does(ann: Any) -> None:
    take("STOP")
    assert messages_dispatch(now=NOW + timedelta(minutes=5, seconds=1)).sent == 0


def test_stop_all_ends_mail_as_well(ann: Any) -> None:
    """Across channels when the person says all."""
    ann.email = "ann@example.com"
    ann.save()
    take("stop all")
    assert {row.channel for row in Consent.objects.filter(given=False)} == {"email", "text"}
    waiting = make.make_message(recipient="Ann@example.com", purpose="letter")
    messages_dispatch(now=NOW)
    waiting.refresh_from_db()
    assert (waiting.state, waiting.problem) == ("dropped", "The customer wants no messages of any kind.")


@pytest.mark.parametrize(
    ("language", "said", "confirmed"),
    [
        ("en", "STOP", "no more texts"), ("en", "stop all", "no more messages"),
        ("es", "pare", "no le mandaremos textos"), ("es", "no me manden nada", "no le mandaremos mensajes"),
    ],
)  # fmt: skip
def test_the_confirmation_says_what_was_ended(ann: Any, language: str, said: str, confirmed: str) -> None:
    """In the person's language, within one part; and nothing that advertises."""
    ann.language = language
    ann.save()
    take(said)
    body = Message.objects.get(purpose="opt_out_confirmation").body
    assert confirmed in body
    assert (sms_count(body).parts, sms_count(body).encoding, "http" in body) == (1, "GSM-7", False)


def test_stop_from_a_number_of_nobody_closes_it(ann: Any) -> None:
    """A number that was written down wrongly, or changed since: whoever is given it later is not written to there."""
    stranger = "+16145550109"
    late = make.make_message(channel="text", recipient=stranger, purpose="notice")
    text = take("STOP", sender=stranger)
    assert text is not None
    assert (text.customer, text.read.note) == (None, "Nobody we know; the number is closed.")
    late.refresh_from_db()
    assert late.state == "dropped"
    ann.phone_e164 = stranger
    ann.save()
    assert "text messages closed on 1 June 2026" in why_not()
    assert not Message.objects.filter(purpose="opt_out_confirmation").exists()
    take("STOP", sender=stranger, event="event-2")
    assert BlockedAddress.objects.count() == 1


def test_stop_holds_for_everybody_with_the_number(ann: Any) -> None:
    other = make.make_customer(phone_e164=PHONE)
    take("STOP")
    assert other.consents.filter(given=False).count() == 1


def test_a_doubtful_text_holds_reminders_back_until_it_is_read(ann: Any, office: Any) -> None:
    """Nothing may be queued, what was queued does not leave; after reading it goes on."""
    reminders_queue(keys=keys(), actor=None, now=NOW)
    text = take("Can you stop by on Monday?")
    assert text is not None
    result = messages_dispatch(now=NOW)
    assert (result.sent, result.dropped) == (0, 1)
    inbound_text_read(text=text, actor=office, now=NOW, note="Wants a visit on Monday")
    with pytest.raises(Conflict):
        inbound_text_read(text=text, actor=office, now=NOW)


def test_a_doubtful_text_is_the_reason_on_the_due_list(ann: Any, office: Any) -> None:
    text = take("I have to cancel")
    assert text is not None
    assert "waits to be read" in why_not()
    inbound_text_read(text=text, actor=office, now=NOW)
    assert why_not() == ""


def test_the_office_takes_a_doubtful_text_as_an_opt_out(ann: Any, office: Any) -> None:
    text = take("please cancel all of this on Friday")
    assert text is not None
    inbound_text_read(text=text, actor=office, now=NOW, stop="all")
    assert Consent.objects.filter(given=False, purpose="all", recorded_by=office).count() == 2


def test_start_is_an_agreement(ann: Any) -> None:
    take("STOP")
    take("START", event="event-2", at=NOW + timedelta(days=1))
    assert why_not() == ""
    assert Consent.objects.latest("pk").wording == "START"


def test_a_stranger_is_kept_and_changes_nothing(ann: Any, office: Any) -> None:
    """A number of nobody: shown to the office, no consent, no confirmation."""
    text = take("Can you stop by?", sender="(614) 555-0199")
    assert text is not None
    assert text.customer is None
    assert not Consent.objects.filter(given=False).exists()
    assert not Message.objects.exists()
    with pytest.raises(Refused):
        inbound_text_read(text=text, actor=office, now=NOW, stop="text")


@pytest.mark.parametrize("sender", ["", "nobody", "12", "ann@example.com"])
def test_a_sender_that_is_no_number_is_refused(ann: Any, sender: str) -> None:
    with pytest.raises(Refused):
        take("STOP", sender=sender)
    assert not InboundText.objects.exists()


def test_a_closed_number_is_the_reason_on_the_due_list(ann: Any) -> None:
    BlockedAddress.objects.create(channel="text", address=PHONE, kind="bounced", since=NOW)
    assert "text messages closed on" in why_not()


def test_a_reminder_keeps_the_hours_of_the_place(ann: Any) -> None:
    """The house is in Phoenix, which has no summer time: 8 a.m. there is 15:00 UTC, 11 a.m. in New York in June."""
    early = datetime(2026, 6, 1, 13, tzinfo=UTC)
    reminders_queue(keys=keys(), actor=None, now=early)
    message = Message.objects.get()
    assert (message.quiet_zone, message.is_promotion) == ("America/Phoenix", True)
    assert message.not_before == datetime(2026, 6, 1, 15, tzinfo=UTC)


def test_the_page_shows_and_puts_away(ann: Any, office: Any, client_of: Any, assert_query_count: Any) -> None:
    text = take("Can you stop by on Monday?")
    assert text is not None
    client = client_of(office)
    with assert_query_count("texts that came in"):
        page = client.get(reverse("reminders:texts")).content.decode()
    assert "Can you stop by on Monday?" in page
    assert "1 text that came in waits" in client.get(reverse("reminders:due_list")).content.decode()
    address = reverse("reminders:text_read", args=[text.pk])
    assert client.post(address, {"note": "x" * 300}).status_code == 302
    assert not hasattr(InboundText.objects.get(), "read")
    client.post(address, {"note": "Monday at ten"})
    assert InboundText.objects.get().read.note == "Monday at ten"
    assert "Monday at ten" in client.get(reverse("reminders:texts")).content.decode()


def test_programs_see_them_and_crews_do_not(ann: Any, office: Any, crew_lead: Any, client_of: Any) -> None:
    take("Thursday works")
    (row,) = client_of(office).get("/api/texts/").json()["results"]
    assert (row["body"], row["meaning"], row["is_read"]) == ("Thursday works", "other", False)
    assert client_of(crew_lead).get("/api/texts/").status_code == 403
    assert client_of(crew_lead).get(reverse("reminders:texts")).status_code == 403


def test_the_gateway_sends_signed_texts(ann: Any, settings: Any) -> None:
    """Signed: taken in. Unsigned, or from nobody: refused."""
    settings.WALLDAY_HOOK_SECRET = SECRET
    body = json.dumps({"from": PHONE, "text": "STOP"})
    moment = datetime.now(UTC)
    headers = {
        "webhook-id": "e1",
        "webhook-timestamp": str(int(moment.timestamp())),
        "webhook-signature": Webhook(SECRET).sign(msg_id="e1", timestamp=moment, data=body),
    }
    address = reverse("reminders:text_hook")
    client = Client()
    assert client.post(address, body, content_type="application/json").status_code == 401
    assert not InboundText.objects.exists()
    for _ in range(2):
        assert client.post(address, body, content_type="application/json", headers=headers).status_code == 204
    assert InboundText.objects.count() == 1
