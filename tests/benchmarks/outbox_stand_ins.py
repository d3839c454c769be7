"""A text gateway and a mail server on this machine that misbehave by dice, and write down all that they were handed."""

import email
import email.policy
import json
import random
import socket
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from socketserver import StreamRequestHandler, ThreadingTCPServer
from typing import Any

SLOW_SECONDS = (0.2, 1.5)
# Longer than our side waits for an answer (20 seconds, for the gateway and for the mail server).
SILENT_SECONDS = 25.0
WELL_BEHAVED = "answers"


@dataclass(frozen=True)
class Manner:
    """How the other end behaves once: whether it takes the message, and how often that comes up."""

    name: str
    takes: bool
    weight: int
    refuses: bool = False  # says for certain that it did not take it


GATEWAY_MANNERS = (
    Manner(WELL_BEHAVED, True, 60),
    Manner("answers slowly", True, 12),
    Manner("answers twice", True, 6),
    Manner("answers 500 after taking it", True, 6),
    Manner("hangs up after taking it", True, 6),
    Manner("hangs up without taking it", False, 4),
    Manner("refuses with 429", False, 6, refuses=True),
)
MAIL_MANNERS = (
    Manner(WELL_BEHAVED, True, 68),
    Manner("answers slowly", True, 12),
    Manner("hangs up after taking it", True, 8),
    Manner("hangs up without taking it", False, 4),
    Manner("refuses with 451", False, 8, refuses=True),
)
SILENT = Manner("takes it and never answers", True, 1)


@dataclass(frozen=True)
class Handed:
    """One handing over as the other end saw it. `key` is the idempotency key, or the Message-ID of a mail."""

    at: datetime
    channel: str
    recipient: str
    key: str
    manner: Manner


@dataclass
class Ledger:
    """All that either stand-in was handed, in order; and the dice. `calm` makes both behave."""

    seed: int
    with_silence: bool = False
    handed: list[Handed] = field(default_factory=list)
    calm: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self) -> None:
        self._dice, self._lock = random.Random(self.seed), threading.Lock()

    def take(self, channel: str, recipient: str, key: str, manners: Sequence[Manner]) -> Manner:
        """Write it down, and say how to answer."""
        with self._lock:
            known = [*manners, SILENT] if self.with_silence else manners
            drawn = self._dice.choices(known, [manner.weight for manner in known])[0]
            manner = manners[0] if self.calm.is_set() else drawn
            self.handed.append(Handed(datetime.now(UTC), channel, recipient, key, manner))
        return manner

    def wait_a_little(self, manner: Manner) -> None:
        """Nobody answers in no time: a process killed at random should often be waiting for an answer."""
        with self._lock:
            slow, usual = self._dice.uniform(*SLOW_SECONDS), self._dice.uniform(0.02, 0.25)
        if manner is SILENT:
            time.sleep(SILENT_SECONDS)
        elif not self.calm.is_set():
            time.sleep(slow if manner.name == "answers slowly" else usual)


class TextGateway(ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self, ledger: Ledger) -> None:
        super().__init__(("127.0.0.1", 0), _TextLine)
        self.ledger = ledger

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}/texts"

    def handle_error(self, *_: Any) -> None:
        """A client that was killed is what this server is for."""


class _TextLine(BaseHTTPRequestHandler):
    server: TextGateway

    def do_POST(self) -> None:
        text = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        key = self.headers["Idempotency-Key"].strip('"')
        manner = self.server.ledger.take("text", text["to"], key, GATEWAY_MANNERS)
        self.server.ledger.wait_a_little(manner)
        if manner.name.startswith("hangs up"):
            self.close_connection = True
            self.connection.shutdown(socket.SHUT_RDWR)
            return
        for _ in range(2 if manner.name == "answers twice" else 1):
            self._answer({"refuses with 429": 429, "answers 500 after taking it": 500}.get(manner.name, 202), key)

    def _answer(self, status: int, key: str) -> None:
        body = json.dumps({"id": f"m-{key[:8]}"}).encode()
        self.send_response(status)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: Any) -> None:
        """Quiet."""


class MailServer(ThreadingTCPServer):
    """Speaks just enough of RFC 5321."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, ledger: Ledger) -> None:
        super().__init__(("127.0.0.1", 0), _MailLine)
        self.ledger = ledger

    @property
    def url(self) -> str:
        return f"smtp://127.0.0.1:{self.server_address[1]}"

    def handle_error(self, *_: Any) -> None:
        """A client that was killed is what this server is for."""


class _MailLine(StreamRequestHandler):
    server: MailServer

    def handle(self) -> None:
        self._say("220 stand-in")
        for raw in self.rfile:
            command = raw.decode().strip().upper()[:4]
            if command == "DATA":
                self._say("354 go on")
                if not self._take():
                    return
            else:
                self._say("221 bye" if command == "QUIT" else "250 fine")
            if command == "QUIT":
                return

    def _take(self) -> bool:
        """Read a mail to its end and answer for it; False where the line was cut instead."""
        lines = []
        for raw in self.rfile:
            if raw == b".\r\n":
                break
            lines.append(raw)
        else:
            return False  # whoever was writing it is gone, and half a mail is none
        mail = email.message_from_bytes(b"".join(lines), policy=email.policy.default)
        address = mail["To"].addresses[0].addr_spec
        manner = self.server.ledger.take("email", address, str(mail["Message-ID"]), MAIL_MANNERS)
        self.server.ledger.wait_a_little(manner)
        if manner.name.startswith("hangs up"):
            with suppress(OSError):
                self.connection.shutdown(socket.SHUT_RDWR)
            return False
        self._say("451 try later" if manner.refuses else "250 taken")
        return True

    def _say(self, line: str) -> None:
        self.wfile.write(f"{line}\r\n".encode())
