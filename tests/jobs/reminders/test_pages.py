"""The office's due list, and the homeowner's way out."""

import json
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import UTC, date, datetime
from io import StringIO
from typing import Any

import pytest
import time_machine
from django.core.management import call_command
from django.test import Client

from jobs.reminders.links import opt_out_token
from shared.outbox.models import Message
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)


@pytest.fixture(autouse=True)
def fixed_clock() -> Any:
    with time_machine.travel(NOW, tick=False):
        make.set_company()
        yield


@pytest.fixture
def page(client_of: Callable[[Any], Client], office: Any) -> Client:
    return client_of(office)


def texts(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def test_the_list_shows_reason_and_way(page: Client) -> None:
    """Who, why, and how a reminder would go."""
    customer = make.make_customer(name="Ann Sample")
    make.make_interval(property=make.make_property(customer=customer))
    shown = texts(page.get("/due/"))
    assert "1 due, 1 may be reminded now" in shown
    assert "House wash every 12 months, last done 1 June 2025" in shown
    assert "by email" in shown


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("", {"Ann", "Bob"}),
        ("state=ready", {"Ann"}),
        ("state=no_channel", {"Bob"}),
        ("search=ann", {"Ann"}),
        ("kind=gutters", {"Bob"}),
        ("kind=nonsense", {"Ann", "Bob"}),
        ("page=99", {"Ann", "Bob"}),
        ("lead_days=0", {"Ann"}),
    ],
)
def test_filters_narrow_the_list(page: Client, query: str, names: set[str]) -> None:
    """Each filter for itself; one that cannot be read narrows nothing."""
    gutters = make.make_service(code="gutters", name="Gutters")
    ann, bob = make.make_customer(name="Ann"), make.make_customer(name="Bob", email="", phone_e164="")
    make.make_interval(property=make.make_property(customer=ann))
    make.make_interval(property=make.make_property(customer=bob), service=gutters, next_due_on=date(2026, 6, 20))
    shown = page.get(f"/due/?{query}").context["page"].object_list
    assert {item.customer_name for item in shown} == names


def test_choose_preview_queue(page: Client) -> None:
    """The whole way: what the preview shows is what lands in the outbox."""
    make.make_interval()
    make.make_interval()
    (first, _second) = page.get("/due/").context["page"].object_list
    preview = page.post("/due/preview/", {"key": first.key})
    (draft,) = preview.context["found"].drafts
    assert draft.body.splitlines()[0] in texts(preview)
    assert "Queue 1 message" in texts(preview)
    answer = page.post("/due/queue/", {"keys": preview.context["good_keys"]}, follow=True)
    assert "1 message is queued." in texts(answer)
    assert Message.objects.get().body == draft.body


def test_who_was_left_out_is_named_once_for_each_reason(page: Client) -> None:
    """The button pressed twice, or the page gone back to: five people, one line, three of them by name."""
    names = [f"Person {letter}" for letter in "ABCDE"]
    for name in names:
        make.make_interval(property=make.make_property(customer=make.make_customer(name=name)))
    keys = " ".join(item.key for item in page.get("/due/").context["page"].object_list)
    page.post("/due/queue/", {"keys": keys}, follow=True)
    again = page.post("/due/queue/", {"keys": keys}, follow=True)
    (said,) = [str(message) for message in again.context["messages"]]
    assert said.startswith("Left out: ")
    assert sum(name in said for name in names) == 3
    assert "and 2 others: reminded of this on" in said
    assert "and 2 others: reminded of this on" in texts(page.post("/due/preview/", {"key": keys.split()}))


def test_all_that_the_filter_leaves_can_be_previewed(page: Client) -> None:
    """One button for all, without a script."""
    for _ in range(3):
        make.make_interval()
    gutters = make.make_interval(service=make.make_service(code="gutters"))
    assert page.get("/due/?kind=gutters").context["sheet"].shown_ready == 1
    assert len(page.post("/due/preview/", {"all": "1"}).context["found"].drafts) == 4
    (draft,) = page.post("/due/preview/", {"all": "1", "kind": "gutters"}).context["found"].drafts
    assert draft.items[0].property_id == gutters.property_id


def test_the_preview_says_what_else_is_due(page: Client) -> None:
    """Choosing one of two things of a customer makes the other wait: the office sees that before."""
    place = make.make_property(street="12 Sample Street")
    make.make_interval(property=place)
    make.make_interval(property=place, service=make.make_service(name="Gutter clearing"))
    first, _second = page.get("/due/").context["page"].object_list
    shown = texts(page.post("/due/preview/", {"key": first.key}))
    assert "Also due here and not chosen" in shown
    assert "Gutter clearing, 12 Sample Street" in shown


def test_nothing_chosen_is_said(page: Client) -> None:
    """Back to the list with a word; nothing happens."""
    assert "Choose at least one line" in texts(page.post("/due/preview/", follow=True))


def test_a_refused_message_is_shown_and_not_queued(page: Client) -> None:
    """The preview says what is missing and where to set it, and offers nothing to queue."""
    make.set_company(street="", city="", region="", postal_code="")
    make.make_interval()
    answer = page.post("/due/preview/", {"all": "1"})
    assert "Set it under Company" in texts(answer)
    assert (answer.context["good"], answer.context["good_keys"]) == (0, "")


def test_a_key_that_names_nothing_is_a_plain_error(page: Client) -> None:
    """No server error for a tampered form."""
    assert page.post("/due/preview/", {"key": "nonsense"}).status_code == 422
    assert page.post("/due/queue/", {"keys": ":"}).status_code == 422


@pytest.mark.parametrize("address", ["/due/", "/messages/", "/api/due-list/", "/api/messages/"])
def test_crew_leads_see_none_of_it(client_of: Callable[[Any], Client], crew_lead: Any, address: str) -> None:
    """The office's pages and API are the office's."""
    assert client_of(crew_lead).get(address).status_code == 403
    assert Client().get(address).status_code in (302, 401, 403)


def test_query_counts(page: Client, assert_query_count: Callable[[str], AbstractContextManager[None]]) -> None:
    """A full page takes as many queries as the checked-in number says."""
    make.make_service(removes_chalk=True)
    for _ in range(60):
        make.make_interval()
    with assert_query_count("due list"):
        page.get("/due/")


# --- the homeowner ---


@pytest.mark.parametrize(
    ("language", "said"),
    [("en", "This is about email to h…@example.com."), ("es", "")],
)
def test_the_homeowners_page_needs_no_account(language: str, said: str) -> None:
    """In the customer's language, with the address masked, and nothing else about anybody."""
    customer = make.make_customer(name="Ann Secret", email="home@example.com", language=language)
    answer = Client().get(f"/opt-out/{opt_out_token(customer.pk, 'email')}/")
    assert answer.status_code == 200
    assert f'<html lang="{language}">' in texts(answer)
    assert said in texts(answer)
    assert "Secret" not in texts(answer)
    assert "home@" not in texts(answer)
    assert "no-cache" in answer["Cache-Control"]


@pytest.mark.parametrize(
    ("scope", "rows"),
    [
        ("reminder", [("text", "reminder")]),
        ("all", [("email", "all"), ("text", "all")]),
        ("", [("text", "reminder")]),
        ("nonsense", [("text", "reminder")]),
    ],
)
def test_a_press_of_the_button_opts_out(scope: str, rows: list[tuple[str, str]]) -> None:
    """What the button says is what is written down; anything unclear means no more reminders by this channel."""
    customer = make.make_customer()
    answer = Client().post(f"/opt-out/{opt_out_token(customer.pk, 'text')}/", {"scope": scope})
    assert answer.status_code == 200
    assert list(customer.consents.order_by("channel").values_list("channel", "purpose")) == rows


def test_a_customer_who_is_gone_is_not_found() -> None:
    """A signed link to nobody."""
    assert Client().get(f"/opt-out/{opt_out_token(10**9, 'email')}/").status_code == 404


# --- API and commands ---


def test_the_api_lists_and_queues(page: Client) -> None:
    """Keys from one call go into the other; repeating it writes nothing."""
    make.make_interval()
    (item,) = page.get("/api/due-list/").json()["results"]
    assert (item["state"], item["channel"], item["due_on"]) == ("ready", "email", "2026-06-01")
    body = json.dumps({"keys": [item["key"]]})
    first = page.post("/api/reminders/", body, content_type="application/json")
    again = page.post("/api/reminders/", body, content_type="application/json")
    assert (first.status_code, first.json()["reminders"]) == (201, 1)
    assert (again.status_code, again.json()["reminders"], len(again.json()["skipped"])) == (201, 0, 1)
    (message,) = page.get("/api/messages/?state=waiting&channel=email").json()["results"]
    assert message["id"] == first.json()["messages"][0]


@pytest.mark.parametrize("body", [{}, {"keys": []}, {"keys": "x"}, {"keys": [1, None]}, {"keys": ["x" * 81]}])
def test_the_api_refuses_what_it_cannot_read(page: Client, body: Any) -> None:
    """400 with problem details."""
    answer = page.post("/api/reminders/", json.dumps(body), content_type="application/json")
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")


def test_the_api_names_a_wrong_key(page: Client) -> None:
    """422: it can be read and means nothing."""
    answer = page.post("/api/reminders/", json.dumps({"keys": ["nonsense"]}), content_type="application/json")
    assert answer.status_code == 422


def run(name: str, *arguments: str) -> str:
    out = StringIO()
    call_command(name, *arguments, stdout=out)
    return out.getvalue()


def test_the_commands_show_queue_and_send() -> None:
    """due_list, queue_reminders --dry-run, queue_reminders, send_messages, in that order."""
    make.make_interval()
    assert json.loads(run("due_list", "--json"))["due"] == 1
    assert "1 due on 2026-06-01, 1 may be reminded now." in run("due_list")
    assert "1 messages would be queued, 0 customers held back." in run("queue_reminders", "--dry-run")
    assert not Message.objects.exists()
    assert "1 reminders queued in 1 messages, 0 customers held back." in run("queue_reminders")
    assert "0 reminders queued" in run("queue_reminders")
    assert run("send_messages").startswith("1 sent")
    assert Message.objects.get().state == "sent"
    assert "0 due on 2026-06-01" in run("due_list", "--lead-days", "-1000")
