"""The ways out: files in a folder, a mail server, a gateway; the last two with stand-ins on this machine."""

import email
import email.policy
import json
import smtplib
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest
import requests

from shared.outbox.channels import deliver
from shared.outbox.checks import ways_out_check
from shared.outbox.errors import NotSent
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def company(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path
    make.set_company(name="Müller, Wash & Co")


def read(mail: bytes) -> Any:
    return email.message_from_bytes(mail, policy=email.policy.default)


# --- folder ---


def test_mail_becomes_a_file_that_any_mail_program_reads(tmp_path: Path) -> None:
    """Real headers, text with accents, Message-ID from the row, nothing half-written left behind."""
    message = make.make_message(
        recipient_name="José, Ann", subject="Ya toca: baño", body="Hola, José:\n" + "lavado " * 40, language="es",
        headers={"List-Unsubscribe": f"<https://wash.example.com/opt-out/{'x' * 90}/>"},
    )  # fmt: skip
    name = deliver(message)
    mail = read((tmp_path / "outbox" / name).read_bytes())
    assert mail["To"].addresses[0].display_name == "José, Ann"
    assert mail["From"].addresses[0].display_name == "Müller, Wash & Co"
    assert (mail["Subject"], mail.get_content().splitlines()) == ("Ya toca: baño", message.body.splitlines())
    assert mail["Message-ID"] == f"<message-{message.pk}.{message.idempotency_key.hex}@example.com>"
    assert mail["Content-Language"] == "es"
    assert mail["List-Unsubscribe"] == message.headers["List-Unsubscribe"]
    assert [path.suffix for path in (tmp_path / "outbox").iterdir()] == [".eml"]


def test_writing_twice_makes_one_file(tmp_path: Path) -> None:
    """A second attempt replaces the first file, text and mail alike."""
    message = make.make_message(channel="text", recipient="+15555550123", body="¿Le viene bien?")
    assert deliver(message) == deliver(message)
    (file,) = (tmp_path / "outbox").iterdir()
    assert file.read_text(encoding="utf-8") == "To: +15555550123\n\n¿Le viene bien?"


@pytest.mark.parametrize("subject", ["two\nlines", "Bcc: x@example.com\r\nX: y"])
def test_a_header_cannot_be_smuggled_in(subject: str, tmp_path: Path) -> None:
    """A line break in a subject fails the message; no file is written."""
    with pytest.raises(NotSent) as refusal:
        deliver(make.make_message(subject=subject))
    assert not refusal.value.again
    assert not (tmp_path / "outbox").exists()


def test_without_an_own_address_mail_waits() -> None:
    """It can be mended under Company, so it is tried again."""
    make.set_company(email="")
    with pytest.raises(NotSent) as refusal:
        deliver(make.make_message())
    assert refusal.value.again


def test_a_folder_that_cannot_be_written_is_tried_again(tmp_path: Path) -> None:
    """Certainly nothing was written."""
    (tmp_path / "outbox").write_text("a file where the folder should be")
    with pytest.raises(NotSent) as refusal:
        deliver(make.make_message())
    assert refusal.value.again


@pytest.mark.parametrize("name", ["WALLDAY_MAIL", "WALLDAY_TEXT"])
def test_a_way_that_does_not_exist_is_named(settings: Any, name: str) -> None:
    """By the check at the start, and by the message, which waits until the setting is mended."""
    setattr(settings, name, "pigeon")
    assert [error.id for error in ways_out_check(None)] == ["outbox.E001"]
    message = make.make_message() if name == "WALLDAY_MAIL" else text()
    with pytest.raises(NotSent, match=name) as refusal:
        deliver(message)
    assert refusal.value.again


@pytest.mark.parametrize(
    ("url", "good"), [("https://texts.example.com/x", True), ("http://texts.example.com/x", False), ("", False)]
)
def test_a_gateway_needs_an_address(settings: Any, url: str, good: bool) -> None:
    """Numbers and tokens do not travel unencrypted."""
    settings.WALLDAY_TEXT, settings.WALLDAY_TEXT_URL = "gateway", url
    assert (ways_out_check(None) == []) is good


# --- a mail server that answers as told ---


class MailServer(threading.Thread):
    """Speaks just enough of RFC 5321.

    `answers` replaces its reply to a command (END: to the whole mail); `hang_up` closes the line instead of that.
    """

    def __init__(self, answers: dict[str, str] | None = None, hang_up: bool = False) -> None:
        super().__init__(daemon=True)
        self.answers, self.hang_up = answers or {}, hang_up
        self.mails: list[bytes] = []
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]

    def run(self) -> None:
        with suppress(OSError):
            while True:
                line, _ = self.listener.accept()
                with line, suppress(OSError):
                    self.talk(line)

    def talk(self, line: socket.socket) -> None:
        file = line.makefile("rb")
        line.sendall(b"220 stand-in\r\n")
        for raw in file:
            command = raw.decode().strip().upper()[:4]
            line.sendall(self.reply(command))
            if command == "DATA" and "DATA" not in self.answers:
                self.take(line, file)
            if command == "QUIT":
                return

    def reply(self, command: str) -> bytes:
        usual = {"DATA": "354 go on", "QUIT": "221 bye"}.get(command, "250 fine")
        return f"{self.answers.get(command, usual)}\r\n".encode()

    def take(self, line: socket.socket, file: Any) -> None:
        lines = []
        for raw in file:
            if raw == b".\r\n":
                break
            lines.append(raw[1:] if raw.startswith(b".") else raw)
        if self.hang_up:
            line.shutdown(socket.SHUT_RDWR)
            return
        self.mails.append(b"".join(lines))
        line.sendall(f"{self.answers.get('END', '250 taken')}\r\n".encode())


@contextmanager
def mail_server(settings: Any, **how: Any) -> Iterator[MailServer]:
    server = MailServer(**how)
    server.start()
    settings.WALLDAY_MAIL, settings.EMAIL_HOST, settings.EMAIL_PORT = "smtp", "127.0.0.1", server.port
    settings.EMAIL_USE_TLS, settings.EMAIL_HOST_USER, settings.EMAIL_TIMEOUT = False, "", 5
    try:
        yield server
    finally:
        server.listener.shutdown(socket.SHUT_RDWR)
        server.listener.close()


def test_mail_goes_through_a_server(settings: Any) -> None:
    """The same message as in the folder, to one recipient; its reference is the Message-ID."""
    message = make.make_message(subject="Hello", body="A dot:\n.\nand on\n")
    with mail_server(settings) as server:
        reference = deliver(message)
    (mail,) = server.mails
    assert read(mail)["Message-ID"] == reference
    assert read(mail).get_content().replace("\r\n", "\n") == "A dot:\n.\nand on\n"


@pytest.mark.parametrize(
    ("answers", "again"),
    [
        ({"MAIL": "451 later"}, True),
        ({"MAIL": "550 not you"}, False),
        ({"RCPT": "450 busy"}, True),
        ({"RCPT": "550 no such mailbox"}, False),
        ({"DATA": "421 closing"}, True),
        ({"END": "452 full"}, True),
        ({"END": "554 no"}, False),
    ],
)
def test_a_servers_no_is_certain(settings: Any, answers: dict[str, str], again: bool) -> None:
    """4yz may be tried again, 5yz not (RFC 5321, 4.2.1)."""
    with mail_server(settings, answers=answers), pytest.raises(NotSent) as refusal:
        deliver(make.make_message())
    assert refusal.value.again is again


def test_a_server_that_hangs_up_at_the_end_leaves_it_open(settings: Any) -> None:
    """The whole mail was handed over, the answer never came: not a certain no."""
    with mail_server(settings, hang_up=True), pytest.raises(smtplib.SMTPServerDisconnected):
        deliver(make.make_message())


def test_a_server_that_is_not_there_is_tried_again(settings: Any) -> None:
    """Connection refused: certainly nothing was sent."""
    with mail_server(settings):
        pass
    with pytest.raises(NotSent) as refusal:
        deliver(make.make_message())
    assert refusal.value.again


# --- a text gateway that answers as told ---


class Gateway(HTTPServer):
    """Answers each POST with `status` and `body`; `hang_up` closes the line after reading the request."""

    def __init__(self, status: int = 202, body: bytes = b'{"id": "m-1"}', hang_up: bool = False) -> None:
        super().__init__(("127.0.0.1", 0), GatewayLine)
        self.status, self.body, self.hang_up = status, body, hang_up
        self.requests: list[tuple[Any, Any]] = []


class GatewayLine(BaseHTTPRequestHandler):
    server: Gateway

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.requests.append((self.headers, json.loads(body)))
        if self.server.hang_up:
            return
        self.send_response(self.server.status)
        if self.server.status == 302:
            self.send_header("Location", "http://127.0.0.1:1/elsewhere")
        self.end_headers()
        self.wfile.write(self.server.body)

    def log_message(self, *args: Any) -> None:
        """Quiet."""


@contextmanager
def gateway(settings: Any, **how: Any) -> Iterator[Gateway]:
    server = Gateway(**how)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    settings.WALLDAY_TEXT, settings.WALLDAY_TEXT_TOKEN = "gateway", "a-token"
    settings.WALLDAY_TEXT_URL = f"http://127.0.0.1:{server.server_port}/texts"
    try:
        yield server
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def text(**over: Any) -> Any:
    return make.make_message(channel="text", recipient="+15555550123", subject="", body="Due: house wash.", **over)


def test_a_text_goes_through_the_gateway(settings: Any) -> None:
    """JSON with number, text and reference; token and idempotency key in the headers; its id is kept."""
    message = text()
    with gateway(settings) as server:
        assert deliver(message) == "m-1"
    ((headers, body),) = server.requests
    key = str(message.idempotency_key)
    assert body == {"to": "+15555550123", "text": "Due: house wash.", "reference": key}
    assert (headers["Authorization"], headers["Idempotency-Key"]) == ("Bearer a-token", f'"{key}"')


@pytest.mark.parametrize("body", [b"", b"[1]", b"not json", b'{"other": 1}'])
def test_an_answer_without_an_id_is_still_a_yes(settings: Any, body: bytes) -> None:
    """Any 2xx means taken."""
    with gateway(settings, body=body):
        assert deliver(text()) == ""


@pytest.mark.parametrize(("status", "again"), [(429, True), (401, True), (404, True), (400, False), (422, False)])
def test_a_gateways_no_is_certain(settings: Any, status: int, again: bool) -> None:
    """Too many requests or our settings: later. A message that it will never take: failed."""
    with gateway(settings, status=status, body=b"why"), pytest.raises(NotSent) as refusal:
        deliver(text())
    assert (refusal.value.again, str(status) in refusal.value.problem) == (again, True)


@pytest.mark.parametrize("status", [500, 502, 503, 504, 302, 409])
def test_an_answer_that_may_mean_taken_leaves_it_open(settings: Any, status: int) -> None:
    """A gateway may answer 500 after it took the message; a redirect is not followed."""
    with gateway(settings, status=status, body=b""), pytest.raises(RuntimeError):
        deliver(text())


def test_a_gateway_that_hangs_up_leaves_it_open(settings: Any) -> None:
    """The request was read, the answer never came."""
    with gateway(settings, hang_up=True), pytest.raises(requests.ConnectionError):
        deliver(text())


@pytest.mark.parametrize("url", ["", "not an address", "ftp://127.0.0.1/x"])
def test_a_setting_that_is_no_address_is_named(settings: Any, url: str) -> None:
    """The message waits until the setting is mended."""
    settings.WALLDAY_TEXT, settings.WALLDAY_TEXT_URL, settings.WALLDAY_TEXT_TOKEN = "gateway", url, ""
    with pytest.raises(NotSent, match="WALLDAY_TEXT_URL") as refusal:
        deliver(text())
    assert refusal.value.again


def test_a_gateway_that_is_not_there_is_tried_again(settings: Any) -> None:
    """Connection refused: certainly nothing was sent."""
    with gateway(settings):
        pass
    with pytest.raises(NotSent) as refusal:
        deliver(text())
    assert refusal.value.again
