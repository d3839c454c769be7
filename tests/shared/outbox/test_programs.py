"""The outbox for programs and from the command line: the same decisions as on its pages, and the switch."""

import json
from collections.abc import Callable
from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from shared import clock
from shared.events.models import Event
from shared.outbox.models import BlockedAddress, Message
from shared.outbox.selectors import is_unknown, sending_switch_get, unknown_list
from shared.outbox.services import messages_dispatch
from tests import factories as make

pytestmark = pytest.mark.django_db
JSON = "application/json"


@pytest.fixture
def api(client_of: Callable[[Any], Client], office: Any) -> Client:
    return client_of(office)


def unknown(**over: Any) -> Any:
    return make.make_message(state="sending", claimed_at=clock.now() - timedelta(hours=1), **over)


def sending(*words: str, **options: Any) -> str:
    out = StringIO()
    call_command("sending", *words, stdout=out, **options)
    return out.getvalue()


def send_now() -> Any:
    make.set_company()
    return messages_dispatch(now=clock.now())


def test_one_message_is_read_with_what_nobody_knows(api: Client) -> None:
    """Being sent a moment ago is not unknown; an hour without an answer is, and so is one that broke off."""
    now = clock.now()
    rows = [
        unknown(),
        make.make_message(state="sending", claimed_at=now),
        make.make_message(state="sending", claimed_at=now, problem="the line broke"),
        make.make_message(),
    ]
    said = [api.get(f"/api/messages/{row.pk}/").json()["result_unknown"] for row in rows]
    assert said == [True, False, True, False]
    assert said == [is_unknown(row, now=now) for row in rows]
    assert {row.pk for row in unknown_list(now=now)} == {rows[0].pk, rows[2].pk}
    listed = api.get("/api/messages/unknown/").json()["results"]
    assert [row["id"] for row in listed] == [rows[0].pk, rows[2].pk]
    assert api.get("/api/messages/999999/").status_code == 404


@pytest.mark.parametrize(
    ("state", "decision", "after"),
    [
        ("sending", "arrived", "sent"),
        ("sending", "send_again", "waiting"),
        ("failed", "send_again", "waiting"),
        ("dropped", "send_again", "waiting"),
        ("waiting", "call_off", "dropped"),
    ],
)
def test_a_program_decides_as_the_page_does(api: Client, state: str, decision: str, after: str) -> None:
    """Once: the same decision again meets another state. The reason is kept."""
    message = make.make_message(state=state, claimed_at=clock.now() - timedelta(hours=1))
    address, body = f"/api/messages/{message.pk}/decision/", {"decision": decision, "reason": "asked her"}
    answer = api.post(address, body, JSON)
    assert (answer.status_code, answer.json()["state"]) == (200, after)
    assert api.post(address, body, JSON).status_code == 409
    assert Event.objects.get(kind__startswith="message.").reason == "asked her"


@pytest.mark.parametrize(
    ("state", "body", "status"),
    [
        ("sent", {"decision": "send_again", "reason": "lost?"}, 409),
        ("waiting", {"decision": "arrived", "reason": "sure"}, 409),
        ("waiting", {"decision": "call_off", "reason": " "}, 400),
        ("waiting", {"decision": "burn", "reason": "why not"}, 400),
        ("waiting", {}, 400),
    ],
)
def test_a_decision_that_makes_no_sense_changes_nothing(api: Client, state: str, body: Any, status: int) -> None:
    message = make.make_message(state=state)
    assert api.post(f"/api/messages/{message.pk}/decision/", body, JSON).status_code == status
    message.refresh_from_db()
    assert message.state == state


def test_a_program_throws_the_switch_and_nothing_leaves(api: Client) -> None:
    """At once, with the reason; on again, what waited goes."""
    message = make.make_message()
    off = api.put("/api/sending/switch/", {"is_on": False, "reason": "wrong price"}, JSON)
    assert off.json()["switch"] | {"changed_at": None} == {
        "is_on": False, "reason": "wrong price", "changed_at": None, "changed_by": "office",
    }  # fmt: skip
    assert (send_now().is_on, Message.objects.get().state) == (False, "waiting")
    assert api.put("/api/sending/switch/", {"is_on": True}, JSON).status_code == 400
    assert not sending_switch_get().is_on
    api.put("/api/sending/switch/", {"is_on": True, "reason": "mended"}, JSON)
    send_now()
    message.refresh_from_db()
    assert message.state == "sent"


def test_a_program_sets_limits_and_reads_the_counts(api: Client) -> None:
    """What is left out stays; less than one is refused, and stopping is what the switch is for."""
    unknown()
    answer = api.patch("/api/sending/limits/", {"texts_per_minute": 7}, JSON).json()
    assert answer["limits"] == {"mails_per_minute": 60, "texts_per_minute": 7, "most_per_week": 3}
    assert (answer["counts"]["sending"], answer["counts"]["unknown"], answer["counts"]["sent"]) == (1, 1, 0)
    assert api.patch("/api/sending/limits/", {"texts_per_minute": 0}, JSON).status_code == 400
    assert api.get("/api/sending/").json() == answer


def test_a_program_opens_a_closed_address(api: Client) -> None:
    """With a reason, once."""
    row = BlockedAddress.objects.create(
        channel="email", address="ann@example.com", kind="bounced", since=clock.now() - timedelta(days=1)
    )
    assert [each["id"] for each in api.get("/api/blocked-addresses/").json()["results"]] == [row.pk]
    address = f"/api/blocked-addresses/{row.pk}/open/"
    assert api.post(address, {"reason": ""}, JSON).status_code == 400
    assert api.post(address, {"reason": "it was mistyped"}, JSON).json()["opened_at"]
    assert api.post(address, {"reason": "it was mistyped"}, JSON).status_code == 409
    assert api.get("/api/blocked-addresses/").json()["results"] == []


@pytest.mark.parametrize(
    ("method", "address"),
    [
        ("get", "messages/unknown/"),
        ("get", "messages/1/"),
        ("post", "messages/1/decision/"),
        ("get", "sending/"),
        ("put", "sending/switch/"),
        ("patch", "sending/limits/"),
        ("get", "blocked-addresses/"),
        ("post", "blocked-addresses/1/open/"),
    ],
)
def test_none_of_it_is_a_crew_leads(client_of: Any, crew_lead: Any, method: str, address: str) -> None:
    assert getattr(client_of(crew_lead), method)(f"/api/{address}").status_code == 403


def test_the_command_throws_the_switch() -> None:
    """`stop` ends it for a run that asks afterwards; `allow` lets it go on; both keep the reason."""
    make.make_message()
    assert "Sending is off, nothing leaves: wrong price." in sending("stop", why="wrong price")
    assert not send_now().is_on
    assert "Sending is on: mended." in sending("allow", why="mended")
    assert send_now().sent == 1
    assert set(Event.objects.values_list("kind", "reason")) == {
        ("sending.off", "wrong price"),
        ("sending.on", "mended"),
    }


def test_the_command_shows_and_settles_what_nobody_knows() -> None:
    one, two = unknown(recipient="ann@example.com"), unknown(recipient="bo@example.com")
    shown = sending()
    assert "ann@example.com" in shown
    assert "2 sending" in shown
    assert "ann@example.com" not in sending("arrived", str(one.pk), why="she says so")
    found = json.loads(sending("again", str(two.pk), why="never came", json=True))
    assert (found["unknown"], found["counts"]["waiting"], found["counts"]["sent"]) == ([], 1, 1)
    assert json.loads(sending("call-off", str(two.pk), why="she moved", json=True))["counts"]["dropped"] == 1


@pytest.mark.parametrize(
    ("words", "why", "said"),
    [
        (("stop",), " ", "Say why"),
        (("arrived",), "sure", "Give the number"),
        (("again", "999999"), "sure", "There is no message 999999"),
        (("arrived", "{waiting}"), "sure", "in another state"),
    ],
)
def test_the_command_says_what_is_missing(words: tuple[str, ...], why: str, said: str) -> None:
    """And changes nothing."""
    message = make.make_message()
    with pytest.raises(CommandError, match=said):
        sending(*(word.format(waiting=message.pk) for word in words), why=why)
    message.refresh_from_db()
    assert (message.state, sending_switch_get().is_on) == ("waiting", True)
