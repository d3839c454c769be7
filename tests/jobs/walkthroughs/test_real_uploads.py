"""Uploads over a real connection: what is too large is refused before its body was sent, and nothing is stored."""

import socket
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.test import Client

from jobs.walkthroughs.models import Photo
from tests import factories

LARGE = 200 * 1024 * 1024
TOKEN = "a" * 32  # any secret will do: cookie and header agree


def head(client: Client, path: str, **headers: str) -> bytes:
    cookies = f"sessionid={client.cookies['sessionid'].value}; csrftoken={TOKEN}"
    named = {"Host": "localhost", "Cookie": cookies, "X-CSRFToken": TOKEN, "Connection": "close", **headers}
    lines = [f"PUT {path} HTTP/1.1", *(f"{name}: {value}" for name, value in named.items())]
    return ("\r\n".join(lines) + "\r\n\r\n").encode()


def asked(address: str, data: bytes) -> str:
    """The answer to these bytes, while the connection stays open for more, as of somebody who would go on sending."""
    parts = urlsplit(address)
    with socket.create_connection((parts.hostname, parts.port), timeout=10) as connection:
        connection.sendall(data)
        answer = b""
        while not answer.endswith(b"}") and (part := connection.recv(65_536)):
            answer += part
    return answer.decode()


def files() -> list[Path]:
    return sorted((Path(settings.MEDIA_ROOT) / "walkthroughs").glob("*"))


@pytest.fixture
def upload(transactional_db: None, client_of: Any, office: Any) -> Iterator[tuple[Client, str]]:
    """Who uploads, and where to; afterwards there is no picture and no file more than before."""
    walkthrough, before = factories.make_walkthrough(), files()
    yield client_of(office), f"/api/walkthroughs/{walkthrough.key}/photos/{uuid.uuid4()}/"
    assert not Photo.objects.exists()
    assert files() == before


def test_two_hundred_megabytes(live_server: Any, upload: tuple[Client, str]) -> None:
    """Answered from the announced length: the body never comes."""
    client, path = upload
    data = head(client, path, **{"Content-Length": str(LARGE), "Content-Type": "image/jpeg"})
    answer = asked(live_server.url, data + b"\xff\xd8\xff" + b"\0" * 1000)
    assert " 413 " in answer.splitlines()[0]
    assert "larger than 20 MB" in answer


@pytest.mark.parametrize(("length", "words"), [({}, "no picture"), ({"Content-Length": "3"}, "broken")])
def test_a_length_that_lies(live_server: Any, upload: tuple[Client, str], length: dict[str, str], words: str) -> None:
    """Without a length nothing is read, with a short one no more than it says."""
    client, path = upload
    answer = asked(live_server.url, head(client, path, **length) + factories.make_picture())
    assert words in answer
