"""What the office sees before it goes is what arrives, byte for byte: on the page, in the row, and on every way out."""

import email
import email.policy
import html
import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
import time_machine
from django.db import transaction
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.reminders.selectors import due_list
from shared.outbox.channels.folder import outbox_folder
from shared.outbox.models import Message
from shared.outbox.services import messages_dispatch
from tests import factories as make

NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
TODAY = date(2026, 6, 1)
LETTER = re.compile(r'<div class="letter"[^>]*>(.*?)</div>', re.DOTALL)
SUBJECT = re.compile(r'<p class="strong" lang="..">(.*?)</p>', re.DOTALL)
# Whatever a name may hold: accents, other alphabets, emoji, quotation marks, what HTML and mail treat apart.
NAMES = st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"]), min_size=1, max_size=40).filter(str.strip)


@pytest.fixture
def office_client(office: Any, client_of: Any) -> Client:
    return client_of(office)


def previewed(client: Client) -> tuple[str, str, str]:
    """Keys, subject and text as the page before sending shows them."""
    keys = [item.key for item in due_list(today=TODAY)]
    page = client.post("/due/preview/", {"key": keys}).content.decode()
    subject = SUBJECT.search(page)
    return " ".join(keys), html.unescape(subject.group(1)) if subject else "", html.unescape(LETTER.findall(page)[0])


@contextmanager
def someone_due(*, name: str, street: str, language: str, channel: str) -> Iterator[Any]:
    """A customer with one thing due, in a database that is empty again afterwards."""
    with transaction.atomic(), time_machine.travel(NOW, tick=False):
        make.set_company(name="Wash & Söhne")
        person = make.make_customer(name=name, language=language, email="" if channel == "text" else "a@example.com")
        make.make_consent(customer=person, channel="text", given=True)
        service = make.make_service(name="House wash", name_es="Lavado de casa")
        make.make_interval(property=make.make_property(customer=person, street=street), service=service)
        yield person
        transaction.set_rollback(True)


@pytest.mark.django_db
@settings(max_examples=12, suppress_health_check=list(HealthCheck))
@given(NAMES, NAMES, st.sampled_from(["en", "es"]), st.sampled_from(["email", "text"]))
def test_the_file_that_leaves_holds_what_was_shown(
    office_client: Client, tmp_path: Path, settings: Any, name: str, street: str, language: str, channel: str
) -> None:
    """Page, row and file in the outbox folder, in either language, by either channel, whatever the names hold."""
    settings.DATA_DIR = str(tmp_path)
    with someone_due(name=name, street=street, language=language, channel=channel):
        keys, subject, body = previewed(office_client)
        office_client.post("/due/queue/", {"keys": keys, "everyone": "1"})
        message = Message.objects.get()
        assert (message.channel, message.subject.encode(), message.body.encode()) == (
            channel, subject.encode(), body.encode(),
        )  # fmt: skip
        assert messages_dispatch(now=NOW).sent == 1
        message.refresh_from_db()
        sent = (outbox_folder() / message.provider_reference).read_bytes()
        assert _text_of(sent, channel) == body.encode()
        if channel == "email":
            mail = email.message_from_bytes(sent, policy=email.policy.default)
            assert mail["Subject"] == subject
            assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"


def _text_of(sent: bytes, channel: str) -> bytes:
    if channel == "text":
        return sent.partition(b"\n\n")[2]
    content = email.message_from_bytes(sent, policy=email.policy.default).get_content()
    assert isinstance(content, str)
    return content.replace("\r\n", "\n").encode()  # lines of mail end in CR LF on the way (RFC 5322, 2.3)


@contextmanager
def gateway() -> Iterator[tuple[str, list[bytes]]]:
    """A text gateway that takes everything and keeps what it was sent."""
    taken: list[bytes] = []

    class Answers(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            taken.append(self.rfile.read(int(self.headers["Content-Length"])))
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b'{"id": "g-1"}')

        def log_message(self, *_args: Any) -> None:
            """Nothing is printed."""

    server = HTTPServer(("127.0.0.1", 0), Answers)
    Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/", taken
    finally:
        server.shutdown()
        server.server_close()


@pytest.mark.django_db
@pytest.mark.parametrize("language", ["en", "es"])
def test_the_gateway_is_handed_what_was_shown(office_client: Client, settings: Any, language: str) -> None:
    """A text over the wire: the same characters, an accent and a euro sign among them."""
    with (
        gateway() as (address, taken),
        someone_due(name="Zoë", street="5 Ash Street", language=language, channel="text"),
    ):
        make.set_company(name="Wäsche & €")
        keys, _subject, body = previewed(office_client)
        settings.WALLDAY_TEXT, settings.WALLDAY_TEXT_URL = "gateway", address
        settings.WALLDAY_SITE_URL = "https://wash.example.com"
        body_of_ours = previewed(office_client)[2]
        assert body_of_ours != body
        office_client.post("/due/queue/", {"keys": keys, "everyone": "1"})
        assert messages_dispatch(now=NOW).sent == 1
        (sent,) = taken
        assert json.loads(sent)["text"].encode() == body_of_ours.encode()
