"""What providers report: signed, taken in once, acted upon; attacks on the hook change nothing."""

import base64
import json
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from standardwebhooks import Webhook

from shared.errors import Conflict, NotFound, Refused
from shared.outbox.delivery import blocked_address_open, delivery_report_take
from shared.outbox.models import BlockedAddress, DeliveryReport, Message
from shared.outbox.services import messages_dispatch
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
SECRET = "whsec_" + base64.b64encode(b"only for tests, 24 bytes").decode()


def sent_message(**over: Any) -> Message:
    fields = {"state": "sent", "claimed_at": NOW, "provider_reference": f"ref-{uuid.uuid4()}", **over}
    return make.make_message(**fields)


def take(message: Message, kind: str, event: str = "") -> bool:
    return delivery_report_take(
        event=event or str(uuid.uuid4()), message_key=str(message.idempotency_key), kind=kind, detail="why", at=NOW
    )


def post(body: Any, *, secret: str = SECRET, at: datetime | None = None, event: str = "event-1", **headers: str) -> Any:
    """A request as a provider signs it."""
    text = body if isinstance(body, str) else json.dumps(body)
    moment = at or datetime.now(UTC)
    signed = {
        "webhook-id": event,
        "webhook-timestamp": str(int(moment.timestamp())),
        "webhook-signature": Webhook(secret).sign(msg_id=event, timestamp=moment, data=text),
        **headers,
    }
    return Client().post(reverse("outbox:delivery_hook"), text, content_type="application/json", headers=signed)


@pytest.fixture
def hooks_on(settings: Any) -> None:
    settings.WALLDAY_HOOK_SECRET = SECRET


def test_delivered_settles_an_unknown_result() -> None:
    """By our key or by the provider's reference; what was known to be sent only gets the time."""
    unknown = make.make_message(state="sending", claimed_at=NOW, problem="TimeoutError")
    take(unknown, "delivered")
    unknown.refresh_from_db()
    assert (unknown.state, unknown.delivered_at, unknown.problem) == ("sent", NOW, "")
    by_reference = sent_message()
    delivery_report_take(event="e", message_key=by_reference.provider_reference, kind="delivered", at=NOW)
    by_reference.refresh_from_db()
    assert by_reference.delivered_at == NOW


@pytest.mark.parametrize("kind", ["bounced", "complained"])
def test_a_bounce_or_complaint_closes_the_address(kind: str) -> None:
    """What waits for it is dropped at once, whatever its purpose and however the address is written."""
    message = sent_message(recipient="Ann@example.com")
    waiting = make.make_message(recipient="ann@Example.com", purpose="notice")
    other = make.make_message()
    take(message, kind)
    waiting.refresh_from_db()
    other.refresh_from_db()
    assert (waiting.state, other.state) == ("dropped", "waiting")
    later = make.make_message(recipient="ANN@example.com")
    messages_dispatch(now=NOW)
    later.refresh_from_db()
    assert later.state == "dropped"
    assert BlockedAddress.objects.get().address == "ann@example.com"


def test_a_passing_failure_closes_nothing() -> None:
    take(sent_message(), "failed")
    assert not BlockedAddress.objects.exists()
    assert DeliveryReport.objects.count() == 1


def test_a_repeated_report_counts_once() -> None:
    """Providers repeat until they hear 2xx."""
    message = sent_message()
    assert take(message, "bounced", "event-9")
    assert not take(message, "bounced", "event-9")
    assert take(message, "complained", "event-10")
    assert (DeliveryReport.objects.count(), BlockedAddress.objects.count()) == (2, 1)


def test_odd_reports_are_refused() -> None:
    """An unknown message, one that never left, an unknown kind, an empty name."""
    waiting, message = make.make_message(), sent_message(provider_reference="")
    for key in ("", "nonsense", str(uuid.uuid4()), str(waiting.idempotency_key)):
        with pytest.raises(NotFound):
            delivery_report_take(event="e", message_key=key, kind="delivered", at=NOW)
    with pytest.raises(Refused):
        take(message, "opened")
    assert not DeliveryReport.objects.exists()


def test_the_office_opens_an_address_again(office: Any, client_of: Any) -> None:
    """With a reason; the second time it is open already; a crew lead may not."""
    take(sent_message(recipient="ann@example.com"), "bounced")
    blocked = BlockedAddress.objects.get()
    client = client_of(office)
    assert "ann@example.com" in client.get(reverse("outbox:blocked")).content.decode()
    with pytest.raises(Refused):
        blocked_address_open(blocked_id=blocked.pk, reason=" ", actor=office, now=NOW)
    address = reverse("outbox:blocked_open", args=[blocked.pk])
    assert client.post(address, {"reason": "They called, it works"}).status_code == 302
    with pytest.raises(Conflict):
        blocked_address_open(blocked_id=blocked.pk, reason="again", actor=office, now=NOW)
    again = make.make_message(recipient="ann@example.com")
    messages_dispatch(now=NOW)
    again.refresh_from_db()
    assert again.state != "dropped"


@pytest.mark.usefixtures("hooks_on")
def test_a_signed_report_is_taken_in() -> None:
    message = sent_message()
    body = {"message": str(message.idempotency_key), "kind": "delivered"}
    assert post(body).status_code == 204
    assert post(body).status_code == 204
    assert DeliveryReport.objects.count() == 1
    assert post({**body, "kind": "opened"}, event="event-2").status_code == 422
    assert post({"kind": "delivered"}, event="event-3").status_code == 404


@pytest.mark.usefixtures("hooks_on")
def test_a_request_that_is_not_signed_by_the_provider_is_refused() -> None:
    """Another secret, an old or future time, another body, missing or broken headers: 401, nothing changed."""
    message = sent_message()
    body = {"message": str(message.idempotency_key), "kind": "bounced"}
    now = datetime.now(UTC)
    other = "whsec_" + base64.b64encode(b"another secret, 24 bytes").decode()
    assert post(body, secret=other).status_code == 401
    assert post(body, at=now - timedelta(minutes=6)).status_code == 401
    assert post(body, at=now + timedelta(minutes=6)).status_code == 401
    for headers in (
        {"webhook-signature": "v1,AAAA"},
        {"webhook-signature": "nonsense"},
        {"webhook-signature": "v1,%%%"},
        {"webhook-timestamp": "soon"},
        {"webhook-id": "other"},
    ):
        assert post(body, **headers).status_code == 401, headers
    bare = Client().post(reverse("outbox:delivery_hook"), json.dumps(body), content_type="application/json")
    assert bare.status_code == 401
    assert not DeliveryReport.objects.exists()


@pytest.mark.usefixtures("hooks_on")
@pytest.mark.parametrize("body", ["", "[]", "null", "{", '"text"', "1", '{"message": {"a": 1}, "kind": []}'])
def test_a_signed_body_that_makes_no_sense_is_refused(body: str) -> None:
    assert post(body).status_code in (404, 422)
    assert not DeliveryReport.objects.exists()


@pytest.mark.usefixtures("hooks_on")
def test_a_large_body_and_a_get_are_refused() -> None:
    assert post({"message": "x" * 70_000, "kind": "bounced"}).status_code == 413
    assert Client().get(reverse("outbox:delivery_hook")).status_code == 405


def test_hooks_are_off_without_a_secret() -> None:
    assert post({"message": "x", "kind": "bounced"}).status_code == 404
