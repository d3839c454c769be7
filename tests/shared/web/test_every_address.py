"""Every address of the URL map, asked for as each role: no failure, nothing inline, the right headers."""

import re
from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from tests import factories

DAY = date(2026, 6, 1)
# Style and script within a page would need a weaker content security policy.
INLINE = re.compile(r"<style|\sstyle=|<script(?![^>]*\ssrc=)(?![^>]*application/json)|\son[a-z]+=|javascript:", re.I)
PARAMETER = re.compile(r"<(?:(\w+):)?(\w+)>")


def addresses(resolver: URLResolver | None = None, prefix: str = "") -> Iterator[str]:
    """Patterns of all our pages and operations, such as `/jobs/<row:job_id>/`."""
    for entry in (resolver or get_resolver()).url_patterns:
        here = prefix + str(entry.pattern)
        if isinstance(entry, URLResolver):
            yield from () if here.startswith("admin/") else addresses(entry, here)
        elif isinstance(entry, URLPattern):
            yield "/" + here


@pytest.fixture
def values(db: None) -> dict[str, Any]:
    """Something that exists for each name in an address."""
    prop = factories.make_property()
    wall = factories.make_wall(property=prop)
    job = factories.make_job(property=prop)
    crew = factories.make_crew()
    person = factories.make_user(role="crew_lead")
    ids = {"customer": prop.customer_id, "property": prop.pk, "wall": wall.pk, "job": job.pk, "person": person.pk}
    return {
        **{f"{name}_id": pk for name, pk in ids.items()},
        "yard_code": crew.yard.code,
        "crew_code": crew.code,
        "work_date": DAY.isoformat(),
    }


def filled(address: str, values: dict[str, Any]) -> str:
    """The address with something for each parameter; an id that nothing has where we made nothing."""
    return PARAMETER.sub(lambda found: str(values.get(found[2], "1" if found[1] in ("int", "row") else "x")), address)


ADDRESSES = sorted(set(addresses()))


@pytest.mark.parametrize("address", ADDRESSES)
def test_address(address: str, values: dict[str, Any], client_of: Any) -> None:
    """Each role, and nobody, gets an answer that was meant: a page, a way elsewhere or a refusal, never a failure."""
    users = [factories.make_user(role=role) for role in ("owner", "office", "crew_lead")]
    for client in [Client(), *(client_of(user) for user in users)]:
        answer = client.get(filled(address, values))
        assert answer.status_code in (200, 204, 301, 302, 303, 400, 401, 403, 404, 405, 406), answer.status_code
        policy = answer["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        if answer.get("Content-Type", "").startswith("text/html"):
            text = answer.content.decode()
            assert not INLINE.findall(text)
            assert answer.status_code != 200 or text.count("<h1>") == 1 or "<html" not in text


@pytest.mark.parametrize("address", [address for address in ADDRESSES if address.startswith("/api/")])
def test_the_api_is_closed_to_strangers(address: str, values: dict[str, Any]) -> None:
    """Without a sign-in every operation answers 401, or 404 or 405 where there is nothing to protect."""
    answer = Client().get(filled(address, values))
    assert answer.status_code in (401, 404, 405)
    assert answer["Content-Type"] == "application/problem+json"


def test_pages_are_closed_to_strangers(values: dict[str, Any]) -> None:
    """Only signing in and what a homeowner reaches by a secret link answers without a sign-in."""
    open_pages = {
        address
        for address in ADDRESSES
        if not address.startswith("/api/") and Client().get(filled(address, values)).status_code == 200
    }
    assert open_pages <= {"/sign-in/", "/opt-out/<str:token>/"}


def test_the_map_is_read() -> None:
    """Without any address the tests above would always pass."""
    assert "/sign-in/" in ADDRESSES
    assert len(ADDRESSES) > 30
