"""The office's view of the outbox."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client

from jobs.reminders.inbound import CONFIRMATION
from jobs.reminders.services import PURPOSE as REMINDER
from jobs.walkthroughs.services.notices import PURPOSE as NOTICE
from pricing.estimates.messages import PURPOSE as ESTIMATE
from routing.dispatch.services.telling import PURPOSE as COMING
from shared import clock
from shared.events.selectors import event_list
from shared.outbox.decisions import BY_CODE, decisions_open
from shared.outbox.forms import PURPOSES
from shared.outbox.models import Message, MessageState
from shared.outbox.selectors import sending_switch_get
from shared.outbox.words import event_words
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(client_of: Callable[[Any], Client], office: Any) -> Client:
    return client_of(office)


def texts(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def unknown(**over: Any) -> Any:
    return make.make_message(state="sending", claimed_at=clock.now() - timedelta(hours=1), **over)


def decide(page: Client, message: Message, decision: str, reason: str, **over: Any) -> Any:
    return page.post(f"/messages/{message.pk}/decision/", {"decision": decision, "reason": reason}, **over)


def test_unknown_results_come_first(page: Client) -> None:
    """Above everything else, with what is to be done."""
    unknown(recipient_name="Ann Sample")
    shown = texts(page.get("/messages/"))
    assert shown.index("Ann Sample") < shown.index("All messages")
    assert "perhaps they arrived" in shown


@pytest.mark.parametrize(
    ("query", "number"),
    [("", 2), ("?state=sent", 1), ("?channel=text", 1), ("?purpose=estimate", 1), ("?state=x", 2)],
)
def test_the_list_is_narrowed(page: Client, query: str, number: int) -> None:
    """By state, by way and by what it is about."""
    make.make_message(state="sent", purpose="estimate")
    make.make_message(channel="text", recipient="+15555550123")
    assert len(page.get(f"/messages/{query}").context["page"].object_list) == number


def test_whatever_the_rooms_write_about_can_be_chosen() -> None:
    """Each room names its own purpose; the list has words for all of them."""
    assert {REMINDER, CONFIRMATION, ESTIMATE, COMING, NOTICE} == {value for value, _words in PURPOSES if value}


def test_a_message_is_shown_word_for_word(page: Client) -> None:
    """Escaped, whatever is in it."""
    message = make.make_message(body="<b>Hello</b> & more")
    assert "&lt;b&gt;Hello&lt;/b&gt; &amp; more" in texts(page.get(f"/messages/{message.pk}/"))
    assert page.get("/messages/999999/").status_code == 404


@pytest.mark.parametrize(
    ("decision", "state"),
    [("arrived", "sent"), ("send_again", "waiting")],
)
def test_the_office_decides_about_an_unknown_one(page: Client, decision: str, state: str) -> None:
    """With a reason, which the history then shows."""
    message = unknown()
    answer = decide(page, message, decision, "asked her", follow=True)
    message.refresh_from_db()
    assert message.state == state
    assert "asked her" in texts(answer)
    assert str(event_words(event_list(subject=message)[0].kind)) in texts(answer)
    assert "message." not in texts(answer)  # no kind of event as the database calls it


@pytest.mark.parametrize(("channel", "said"), [("text", "keeps its key"), ("email", "may arrive twice")])
def test_the_office_reads_what_sending_again_may_do(page: Client, channel: str, said: str) -> None:
    """A gateway knows a text by its key; a mail server knows nothing of the kind."""
    message = unknown(channel=channel, recipient="+15555550123" if channel == "text" else "ann@example.com")
    assert said in texts(page.get(f"/messages/{message.pk}/"))


def test_a_waiting_message_can_be_called_off(page: Client) -> None:
    """Once; the second time it is too late."""
    message = make.make_message()
    assert decide(page, message, "call_off", "wrong price").status_code == 302
    assert decide(page, message, "call_off", "wrong price").status_code == 409


@pytest.mark.parametrize(("decision", "reason"), [("arrived", " "), ("burn", "why not"), ("", "why not")])
def test_a_decision_needs_its_name_and_a_reason(page: Client, decision: str, reason: str) -> None:
    """Nothing changes without them."""
    message = unknown()
    assert decide(page, message, decision, reason).status_code == 422
    message.refresh_from_db()
    assert message.state == "sending"


@pytest.mark.parametrize("state", MessageState.values)
@pytest.mark.parametrize("hours", [0, 1])
def test_just_what_is_offered_can_be_decided(page: Client, state: str, hours: int) -> None:
    """On the page and to programs alike; whatever is not offered is refused by its own guard."""
    for code in BY_CODE:
        message = make.make_message(state=state, claimed_at=clock.now() - timedelta(hours=hours))
        offered = {each.code for each in decisions_open(message, now=clock.now())}
        shown = page.get(f"/messages/{message.pk}/").content.decode()
        assert offered == {each for each in BY_CODE if f'name="decision" value="{each}"' in shown}
        assert offered == set(page.get(f"/api/messages/{message.pk}/").json()["decisions"])
        assert decide(page, message, code, "asked her").status_code == (302 if code in offered else 409)


def test_the_switch_is_thrown_on_the_page(page: Client, office: Any) -> None:
    """Off with a reason that the page then shows; on again."""
    shown = page.post("/messages/switch/", {"throw": "stop", "reason": "wrong price"}, follow=True)
    assert "Switched off because: wrong price" in texts(shown)
    switch = sending_switch_get()
    assert (switch.is_on, switch.changed_by) == (False, office)
    assert page.post("/messages/switch/", {"throw": "allow"}).status_code == 422
    page.post("/messages/switch/", {"throw": "allow", "reason": "mended"})
    assert sending_switch_get().is_on


def test_sending_can_be_started(page: Client, django_capture_on_commit_callbacks: Any, settings: Any) -> None:
    """Without waiting for the clock."""
    make.set_company()
    message = make.make_message()
    with django_capture_on_commit_callbacks(execute=True):
        page.post("/messages/send/")
    message.refresh_from_db()
    assert message.state == "sent"


@pytest.mark.parametrize("address", ["switch", "send", "1/decision"])
def test_changes_are_posts_of_the_office(
    page: Client, client_of: Callable[[Any], Client], crew_lead: Any, address: str
) -> None:
    """No GET changes anything; a crew lead may not."""
    assert page.get(f"/messages/{address}/").status_code == 405
    assert client_of(crew_lead).post(f"/messages/{address}/").status_code == 403


def test_no_unknown_result_is_out_of_sight(page: Client) -> None:
    """More than fit on the page: it says how many there are, and leads to every one."""
    many = {unknown().pk for _ in range(53)}
    shown = texts(page.get("/messages/"))
    assert "These are the oldest 50 of 53." in shown
    assert 'href="?state=sending#all"' in shown
    pages = [texts(page.get("/messages/", {"state": "sending", "page": number})) for number in (1, 2)]
    assert many == {
        pk for pk in many if any(f'href="/messages/{pk}/"' in each.partition("<table")[2] for each in pages)
    }


def test_query_counts(page: Client, assert_query_count: Callable[[str], AbstractContextManager[None]]) -> None:
    """A full page takes as many queries as the checked-in number says."""
    for _ in range(60):
        make.make_message()
        unknown()
    with assert_query_count("messages"):
        page.get("/messages/")


def test_the_api_lists_newest_first(page: Client) -> None:
    """Total order, pages, and 400 for a state that does not exist."""
    moment = datetime(2026, 6, 1, tzinfo=UTC)
    old, new, same = (make.make_message(created_at=moment + timedelta(days=n)) for n in (0, 1, 1))
    ids = [row["id"] for row in page.get("/api/messages/").json()["results"]]
    assert ids == [same.pk, new.pk, old.pk]
    assert page.get("/api/messages/?state=lost").status_code == 400
    assert Message.objects.count() == 3
