"""Serving the demo: one port on this machine, pages and their style, ended by Ctrl-C."""

import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from routing.demo.server import ADDRESS, PortInUse, server_open

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture
def taken_port() -> Iterator[int]:
    with socket.socket() as other:
        other.bind((ADDRESS, 0))
        other.listen()
        yield other.getsockname()[1]


def test_port_in_use(taken_port: int) -> None:
    """A port that another program has: one sentence that names it, exit status 2, before anything is made."""
    with pytest.raises(CommandError, match=f"Port {taken_port} on 127.0.0.1 cannot be used") as caught:
        call_command("demo", "--port", str(taken_port))
    assert caught.value.returncode == 2


@pytest.mark.parametrize("port", [-1, 65_536])
def test_port_that_cannot_be(port: int) -> None:
    """A number that is no port is refused in the same words."""
    with pytest.raises(PortInUse, match="cannot be used"):
        server_open(port)


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C cannot be sent to one process on Windows")
def test_serves_and_ends(tmp_path: Path) -> None:
    """From an empty folder to answered pages; everything written lies in that folder; Ctrl-C ends it with status 0."""
    environment = {**os.environ, "WALLDAY_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "config.settings.embedded"}
    environment.pop("WALLDAY_DATABASE_URL", None)
    command = [sys.executable, str(ROOT / "manage.py"), "demo", "--port", "0", "--seconds", "1"]
    with subprocess.Popen(
        command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as demo:
        try:
            address = _address(demo)
            with urllib.request.urlopen(f"{address}sign-in/", timeout=90) as page:
                text = page.read().decode()
            style = re.search(r'href="(/static/[^"]+\.css)"', text)
            assert style is not None
            with urllib.request.urlopen(address.rstrip("/") + style.group(1), timeout=90) as sheet:
                assert sheet.headers["Content-Type"].startswith("text/css")
            demo.send_signal(signal.SIGINT)
            out, err = demo.communicate(timeout=90)
        finally:
            demo.kill()
    assert demo.returncode == 0, err
    assert "Ended." in out
    steps, _, _ = err.partition("Listing who is due")
    assert " INFO " not in steps  # lines of the background's log would stand between the steps
    with closing(sqlite3.connect(tmp_path / "wallday.sqlite3")) as rows:
        (body,) = rows.execute("SELECT body FROM outbox_message WHERE purpose = 'reminder'").fetchone()
    assert f"{address}a/" in body  # links that lead to this very server


def _address(demo: subprocess.Popen[str]) -> str:
    assert demo.stdout is not None
    for line in demo.stdout:
        found = re.match(r"Open (http://127\.0\.0\.1:\d+/)", line)
        if found:
            return found.group(1)
    raise AssertionError(f"The demo did not serve: {demo.stderr.read() if demo.stderr else ''}")
