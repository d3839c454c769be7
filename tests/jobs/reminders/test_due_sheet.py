"""The due list as the office looks at it: what a yes would bring, filters, the map, and long lists."""

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.test import Client

from jobs.customers.models import Property
from jobs.reminders import listing
from jobs.reminders.answers import offer_get
from jobs.reminders.listing import DueSheet
from jobs.reminders.models import Reminder
from jobs.reminders.narrowing import NEVER, DueWish
from jobs.reminders.selectors import DueItem, due_list
from jobs.reminders.services import reminders_queue
from pricing.catalogue.models import Rate, RateCard
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
TODAY = date(2026, 6, 1)


@pytest.fixture(autouse=True)
def fixed_clock() -> Any:
    with time_machine.travel(NOW, tick=False):
        make.set_company()
        yield


@pytest.fixture
def page(client_of: Callable[[Any], Client], office: Any) -> Client:
    return client_of(office)


def two_customers() -> None:
    """Ann's is a house with a price and past work, reminded in 2025; Bob's is on no card and heard nothing yet."""
    service = make.make_service(code="wash", name="House wash")
    card = RateCard.objects.create(effective_from=date(2026, 1, 1))
    speed = {"units_per_crew_hour": 1_000, "units_per_crew_hour_high": 800}
    Rate.objects.create(card=card, service=service, price_cents_per_100_units=25_00, **speed)
    ann = make.make_property(customer=make.make_customer(name="Ann"), street="1 Alder Street")
    make.make_wall(property=ann, area_sqft=900)
    make.make_interval(property=ann, service=service)
    make.make_visit_of(service, ann, date(2025, 6, 1), minutes=95)
    message = make.make_message(state="sent")
    Reminder.objects.create(
        property=ann, kind="wash", due_on=date(2025, 5, 1), message=message, created_at=NOW - timedelta(days=400)
    )
    bob = make.make_property(
        customer=make.make_customer(name="Bob", email=""), street="2 Birch Street",
        latitude=None, longitude=None,
    )  # fmt: skip
    make.make_consent(customer=bob.customer, channel="text", given=True)
    make.make_interval(property=bob, service=make.make_service(code="gutters", name="Gutters"))


def named(sheet: DueSheet) -> list[str]:
    return [item.customer_name for item in sheet[:]]


def by_name(name: str) -> DueItem:
    return next(item for item in due_list(today=TODAY) if item.customer_name == name)


def test_a_line_says_what_a_yes_would_bring() -> None:
    """Ann's price is the card's and her minutes are those of last time; Bob's work needs a look first."""
    two_customers()
    ann, bob = by_name("Ann"), by_name("Bob")
    assert ann.price_cents == 225_00  # 900 sq ft at 25.00 for 100
    assert (ann.minutes, bob.price_cents, bob.minutes) == (95, None, 120)
    assert ann.chance == pytest.approx(1 / 8)  # one reminder, no job since: Beta(1, 6) and a no
    assert bob.chance == pytest.approx(1 / 7)
    assert (bob.consent[:16], ann.consent[:13]) == ("agreed to texts ", "not opted out")


def test_the_price_is_the_one_that_the_homeowner_sees() -> None:
    """One rate card, one area: the due list and the answer page never disagree."""
    two_customers()
    ann = by_name("Ann")
    reminders_queue(keys=[ann.key], actor=None, now=NOW, hold_back=False)
    offer = offer_get(customer_id=ann.customer_id, written_on=TODAY)
    assert [thing.line.price_cents for thing in offer.things if thing.line] == [ann.price_cents]


@pytest.mark.parametrize(
    ("wish", "left"),
    [
        (DueWish(), {"Ann", "Bob"}),
        (DueWish(channel="text"), {"Bob"}),
        (DueWish(channel="email"), {"Ann"}),
        (DueWish(search="house WASH"), {"Ann"}),
        (DueWish(silent_days=NEVER), {"Bob"}),
        (DueWish(silent_days=400), {"Ann", "Bob"}),
        (DueWish(silent_days=401), {"Bob"}),
        (DueWish(price_from_cents=1), {"Ann"}),
        (DueWish(price_from_cents=10_000_000), set()),
        (DueWish(minutes_up_to=95), {"Ann"}),
        (DueWish(minutes_up_to=94), set()),
        (DueWish(chance_from_percent=13), {"Bob"}),
        (DueWish(chance_from_percent=12), {"Ann", "Bob"}),
    ],
)
def test_every_filter_narrows(wish: DueWish, left: set[str]) -> None:
    """Each for itself, at its edge."""
    two_customers()
    sheet = DueSheet(today=TODAY, wish=wish)
    assert (set(named(sheet)), len(sheet), sheet.due_count) == (left, len(left), 2)


def test_page_program_and_command_narrow_alike(page: Client) -> None:
    """The same question asked in three ways."""
    two_customers()
    shown = page.get("/due/?chance_from_percent=13&hours_up_to=2.0&silent_days=-1")
    assert [item.customer_name for _number, item in shown.context["lines"]] == ["Bob"]
    assert "<details open>" in shown.content.decode()
    asked = page.get("/api/due-list/?chance_from_percent=13&minutes_up_to=120&silent_days=-1").json()
    (line,) = asked["results"]
    assert (line["customer_name"], line["price_cents"], line["crew_minutes"]) == ("Bob", None, 120)
    assert (line["chance_percent"], line["latitude"]) == (14, None)
    out = StringIO()
    call_command("due_list", "--json", "--chance-from-percent", "13", "--silent-days", "-1", stdout=out)
    assert json.loads(out.getvalue())["items"] == [line]
    call_command("due_list", "--search", "birch", stdout=out)
    assert "price after a look, 2 h, chance 14%; text, agreed to texts on" in out.getvalue()
    assert page.get("/api/due-list/?silent_days=-2").status_code == 400
    with pytest.raises(CommandError):
        call_command("due_list", "--silent-days", "soon")


def test_the_pins_match_the_lines(page: Client) -> None:
    """One pin for each property with a place, with the number of its first line; the others are counted in words."""
    two_customers()
    ann = by_name("Ann")
    make.make_interval(
        property=Property.objects.get(pk=ann.property_id), service=make.make_service(code="deck", name="Deck wash")
    )
    shown = page.get("/due/")
    (pin,) = shown.context["marks"]
    numbers = [number for number, item in shown.context["lines"] if item.property_id == ann.property_id]
    assert (pin.text, pin.href, pin.title) == (
        str(numbers[0]),
        f"/properties/{ann.property_id}/",
        "Ann, 1 Alder Street",
    )
    assert "House wash" in pin.note
    assert "Deck wash" in pin.note
    assert "1 line has no place on the map yet." in " ".join(shown.content.decode().split())


def test_a_page_is_a_piece_of_the_whole() -> None:
    """Page by page, line by line and all at once: the same lines in the same order, and the same keys to preview."""
    for day in (5, 1, 9, 3, 1, 7, 2, 8):
        make.make_interval(next_due_on=date(2026, 5, day))
    expected = due_list(today=TODAY)
    sheet = DueSheet(today=TODAY)
    assert [*sheet[0:3], *sheet[3:6], *sheet[6:99]] == expected
    assert list(sheet) == expected
    assert (sheet[5], sheet[-1]) == (expected[5], expected[-1])
    assert sheet.ready_keys(most=99) == [item.key for item in expected]
    assert sheet.ready_keys(most=2) == [item.key for item in expected[:2]]
    with pytest.raises(IndexError):
        sheet[8]


def test_a_search_that_finds_much_is_paged_as_well(monkeypatch: Any) -> None:
    """Beyond what is kept of it the pages are read again."""
    monkeypatch.setattr(listing, "KEPT", 2)
    for day in (5, 1, 9, 3):
        make.make_interval(next_due_on=date(2026, 5, day))
    sheet = DueSheet(today=TODAY, wish=DueWish(search="Every 12"))
    assert [*sheet[0:2], *sheet[2:4]] == list(sheet) == due_list(today=TODAY)
    assert (len(sheet), sheet.shown_ready) == (4, 4)
    assert sheet.ready_keys(most=3) == [item.key for item in sheet[:3]]


def test_what_is_settled_meanwhile_is_left_out() -> None:
    """A line whose work was agreed between the look at the list and at the page is not shown as due."""
    first, second = make.make_interval(next_due_on=date(2026, 5, 1)), make.make_interval()
    sheet = DueSheet(today=TODAY)
    assert len(sheet) == 2
    make.make_job(property=first.property, state="agreed", lines=[{"service": first.service}])
    assert [item.property_id for item in sheet[:]] == [second.property_id]
