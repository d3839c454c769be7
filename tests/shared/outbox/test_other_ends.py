"""The dispatcher against a gateway and a mail server on this machine that behave badly, each in one way.

What the row says afterwards, that nothing is handed over again unasked, and that sent again it carries the same key.
"""

import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from shared.outbox.channels import gateway
from shared.outbox.models import Message
from shared.outbox.selectors import unknown_list
from shared.outbox.services import message_send_again, messages_dispatch
from tests import factories as make
from tests.benchmarks.outbox_stand_ins import (
    GATEWAY_MANNERS,
    MAIL_MANNERS,
    SILENT,
    Handed,
    Ledger,
    MailServer,
    Manner,
    TextGateway,
)

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 16, tzinfo=UTC)  # 12:00 in New York
ZONE = "America/New_York"
OUR_PATIENCE, SLOW, SILENCE = 1.0, 0.2, 2.0  # seconds: how long we wait, and how long the other end takes
KNOWN = {"answers": "sent", "answers slowly": "sent", "answers twice": "sent"}


@dataclass
class OneManner(Ledger):
    """Behaves in one way, time after time, until it is calm."""

    manner: Manner = GATEWAY_MANNERS[0]

    def take(self, channel: str, recipient: str, key: str, manners: Sequence[Manner]) -> Manner:
        manner = manners[0] if self.calm.is_set() else self.manner
        self.handed.append(Handed(datetime.now(UTC), channel, recipient, key, manner))
        return manner

    def wait_a_little(self, manner: Manner) -> None:
        time.sleep({"answers slowly": SLOW, SILENT.name: SILENCE}.get(manner.name, 0.0))


@contextmanager
def other_end(channel: str, manner: Manner, settings: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[OneManner]:
    """The stand-in for a channel, with our settings leading there."""
    ledger = OneManner(seed=0, manner=manner)
    server = TextGateway(ledger) if channel == "text" else MailServer(ledger)
    threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True).start()
    settings.WALLDAY_TEXT, settings.WALLDAY_TEXT_TOKEN, settings.WALLDAY_TEXT_URL = "gateway", "", server.url
    settings.WALLDAY_MAIL, settings.EMAIL_HOST, settings.EMAIL_PORT = "smtp", "127.0.0.1", server.server_address[1]
    settings.EMAIL_USE_TLS, settings.EMAIL_HOST_USER, settings.EMAIL_TIMEOUT = False, "", OUR_PATIENCE
    monkeypatch.setattr(gateway, "ANSWER_SECONDS", OUR_PATIENCE)
    try:
        yield ledger
    finally:
        server.shutdown()
        server.server_close()


def written(channel: str, **over: Any) -> Message:
    make.set_company()
    recipient = "+16145550123" if channel == "text" else "ann@example.com"
    return make.make_message(channel=channel, recipient=recipient, created_at=NOON, **over)


WAYS = [
    *(pytest.param("text", manner, id=f"text {manner.name}") for manner in (*GATEWAY_MANNERS, SILENT)),
    *(pytest.param("email", manner, id=f"mail {manner.name}") for manner in (*MAIL_MANNERS, SILENT)),
]


@pytest.mark.parametrize(("channel", "manner"), WAYS)
def test_whatever_the_other_end_does(
    channel: str, manner: Manner, settings: Any, monkeypatch: pytest.MonkeyPatch, office: Any
) -> None:
    """Taken and said so: sent. Refused for certain: it waits, and goes later. All else: unknown, shown, and left alone
    until the office decides; the key stays the same, so that a gateway hands it on once.
    """
    message = written(channel)
    with other_end(channel, manner, settings, monkeypatch) as ledger:
        result = messages_dispatch(now=NOON)
        message.refresh_from_db()
        ends_as = "waiting" if manner.refuses else KNOWN.get(manner.name, "sending")
        assert message.state == ends_as
        assert [row.pk for row in unknown_list(now=NOON)] == ([message.pk] if ends_as == "sending" else [])
        assert (result.sent, result.again, result.unknown) == tuple(
            int(ends_as == state) for state in ("sent", "waiting", "sending")
        )
        ledger.calm.set()
        if ends_as != "waiting":
            for later in (timedelta(minutes=10), timedelta(hours=3), timedelta(days=2)):
                messages_dispatch(now=NOON + later)
            assert len(ledger.handed) == 1
        if ends_as == "sending":
            message_send_again(message_id=message.pk, reason="not in their list", actor=office, now=NOON)
        messages_dispatch(now=NOON + timedelta(hours=1))
        message.refresh_from_db()
    assert message.state == "sent"
    assert len(ledger.handed) == (1 if ends_as == "sent" else 2)
    assert len({handed.key for handed in ledger.handed}) == 1


def test_an_answer_given_twice_is_not_the_next_ones(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each text has a connection of its own: the second answer to the first text says nothing about the second text."""
    twice = next(manner for manner in GATEWAY_MANNERS if manner.name == "answers twice")
    first = written("text")
    second = written("text")
    with other_end("text", twice, settings, monkeypatch) as ledger:
        messages_dispatch(now=NOON)
    for message, handed in zip((first, second), ledger.handed, strict=True):
        message.refresh_from_db()
        assert (message.state, handed.key) == ("sent", str(message.idempotency_key))
        assert message.provider_reference == f"m-{handed.key[:8]}"


def test_what_was_refused_until_it_was_late_is_dropped_and_not_sent_at_midnight(
    settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Refused at ten to nine in the evening, worth sending until eleven: neither in the night nor in the morning."""
    evening = datetime(2026, 6, 2, 0, 50, tzinfo=UTC)  # 20:50 in New York
    message = written("text", quiet_zone=ZONE, not_after=evening + timedelta(hours=2, minutes=10))
    refuses = next(manner for manner in GATEWAY_MANNERS if manner.refuses)
    with other_end("text", refuses, settings, monkeypatch) as ledger:
        assert messages_dispatch(now=evening).again == 1
        ledger.calm.set()
        for minutes in (15, 130, 131, 11 * 60 + 10, 24 * 60):
            messages_dispatch(now=evening + timedelta(minutes=minutes))
        message.refresh_from_db()
    assert (message.state, len(ledger.handed)) == ("dropped", 1)
    assert "too late" in message.problem
