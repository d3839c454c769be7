"""The versions of the rate card as page, API and command; withdrawing one that has not begun."""

import io
import json
from datetime import timedelta

import pytest
import time_machine
from django.core.management import CommandError, call_command

from pricing.catalogue.choices import CardState
from pricing.catalogue.models import RateCard
from pricing.catalogue.selectors import card_content, card_versions, draft_card, rate_card_on
from pricing.catalogue.services import card_withdraw, draft_begin, draft_put_in_force
from pricing.estimates.models import Estimate
from shared.errors import NotFound, Refused, Stale
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = factories.MOMENT.date()
LATER = TODAY + timedelta(days=7)


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(factories.MOMENT, tick=False):
        yield


@pytest.fixture
def first():
    return factories.make_card()


@pytest.fixture
def coming(first):
    """The second version, from a week ahead."""
    draft = draft_begin(today=TODAY)
    return draft_put_in_force(draft=draft, effective_from=LATER, today=TODAY, expected_version=draft.version)


def withdraw(card, **over):
    values = {"card": card, "today": TODAY, "now": factories.MOMENT, "expected_version": card.version, **over}
    return card_withdraw(**values)


def states():
    return [version.state for version in card_versions(today=TODAY)]


def test_states_of_all_versions(first, coming) -> None:
    """To come, in force, past, withdrawn; a draft is no version."""
    RateCard.objects.create(effective_from=first.effective_from - timedelta(days=300))
    draft_begin(today=TODAY)
    assert states() == [CardState.TO_COME, CardState.IN_FORCE, CardState.PAST]
    withdraw(coming)
    assert states() == [CardState.WITHDRAWN, CardState.IN_FORCE, CardState.PAST]


def test_a_withdrawn_card_never_begins_and_is_kept(first, coming, owner) -> None:
    """The card before it goes on; its rows and the reason stay; another may begin on its day, as a copy of it."""
    before = card_content(card=coming)
    withdraw(coming, reason="too early", actor=owner)
    assert rate_card_on(on=LATER) == first
    assert card_content(card=coming) == before
    event = Event.objects.get(kind="rate_card.withdrawn")
    assert (event.reason, event.actor, event.data) == ("too early", owner, {"from": LATER.isoformat()})
    again = draft_begin(today=TODAY, source=coming)
    draft_put_in_force(draft=again, effective_from=LATER, today=TODAY, expected_version=again.version)
    assert rate_card_on(on=LATER) == again


def test_what_may_not_be_withdrawn(first, coming) -> None:
    """In force, a draft, twice, priced with, changed meanwhile: nothing changes."""
    with pytest.raises(Refused, match="was in force"):
        withdraw(first)
    with pytest.raises(Refused, match="was in force"):
        withdraw(coming, today=LATER)
    with pytest.raises(Refused, match="not waiting"):
        withdraw(draft_begin(today=TODAY))
    with pytest.raises(Stale):
        withdraw(coming, expected_version=99)
    estimate = factories.make_estimate()
    Estimate.objects.filter(pk=estimate.pk).update(card_from=LATER)
    with pytest.raises(Refused, match="An estimate was made"):
        withdraw(coming)
    Estimate.objects.filter(pk=estimate.pk).update(card_from=TODAY)
    withdraw(coming)
    with pytest.raises(Refused, match="not waiting"):
        withdraw(coming)
    assert Event.objects.filter(kind="rate_card.withdrawn").count() == 1


def test_the_page_shows_the_whole_card_and_links_each_version(client_of, office, first, coming, assert_query_count):
    """Rates, factors, materials and surcharges in words; each version has a page."""
    client = client_of(office)
    page = client.get("/rates/").content.decode()
    for text in (
        "per 100 sq ft of wall", "3 storeys", "every service", "chalk reading 5", "Chalk removal",
        "Hypochlorite stock", "24 fl oz per 100 sq ft of wall", "None: nothing comes on top", "to come",
        f"/rates/cards/{first.pk}/", f"/rates/cards/{coming.pk}/",
    ):  # fmt: skip
        assert text in page
    client.get(f"/rates/cards/{coming.pk}/")
    with assert_query_count("rate card version"):
        shown = client.get(f"/rates/cards/{coming.pk}/").content.decode()
    assert ("It says the same." in shown, "Withdraw it" in shown) == (True, False)
    assert b"house_wash,2600" in client.get(f"/rates/cards/{first.pk}/card.csv").content
    assert client.get(f"/rates/cards/{first.pk}/card.json").json()["format"] == "rate-card/1"
    assert client.get("/rates/cards/999/").status_code == 404


def test_the_owner_withdraws_after_being_asked(client_of, owner, office, first, coming) -> None:
    """Asked first; without the tick nothing happens; what began meanwhile comes back with the reason."""
    client, address = client_of(owner), f"/rates/cards/{coming.pk}/withdraw/"
    assert client_of(office).get(address).status_code == 403
    assert "Withdraw the card from" in client.get(address).content.decode()
    missing = client.post(address, {"version": coming.version, "reason": "too early"})
    assert (missing.status_code, 'value="too early"' in missing.content.decode()) == (422, True)
    sure = {"version": coming.version, "reason": "too early", "sure": "on"}
    with time_machine.travel(factories.MOMENT + timedelta(days=8), tick=False):
        begun = client_of(owner).post(address, sure)
        assert (begun.status_code, "was in force" in begun.content.decode()) == (422, True)
    assert client.post(address, sure).status_code == 302
    assert "withdrawn" in client.get("/rates/").content.decode()
    assert client.get(address).status_code == 302
    assert client.post("/rates/draft/begin/", {"source": coming.pk}).status_code == 302
    assert draft_card() is not None


def test_by_program(client_of, owner, office, first, coming) -> None:
    """Listed with their state; withdrawn with If-Match, once, by the owner."""
    client = client_of(owner)
    assert [row["state"] for row in client.get("/api/rate-cards/").json()] == ["to_come", "in_force"]
    one = client.get(f"/api/rate-cards/{coming.pk}/")
    assert one.json()["effective_from"] == LATER.isoformat()
    address, body = f"/api/rate-cards/{coming.pk}/withdraw/", {"reason": "too early"}
    send = {"data": body, "content_type": "application/json", "headers": {"If-Match": one["ETag"]}}
    assert client_of(office).post(address, **send).status_code == 403
    assert client.post(address, body, content_type="application/json").status_code == 428
    assert client.post(address, **send).json()["state"] == "withdrawn"
    assert client.post(address, **send).status_code == 412
    again = {**send, "headers": {"If-Match": "*"}}
    assert client.post(address, **again).status_code == 422
    assert client.post("/api/rate-cards/999/withdraw/", **again).status_code == 404


def test_on_the_terminal(first, coming, monkeypatch) -> None:
    """Listed; asked unless told not to; a day without a card is said."""
    out = io.StringIO()
    call_command("rate_card", "list", stdout=out)
    assert [line.split()[0] for line in out.getvalue().splitlines()] == [
        LATER.isoformat(),
        first.effective_from.isoformat(),
    ]
    monkeypatch.setattr("builtins.input", lambda words: "no")
    with pytest.raises(CommandError, match="Nothing was changed"):
        call_command("rate_card", "withdraw", LATER.isoformat())
    with pytest.raises(CommandError, match="No card begins"):
        call_command("rate_card", "withdraw", (LATER + timedelta(days=1)).isoformat(), "--yes")
    with pytest.raises(CommandError, match="was in force"):
        call_command("rate_card", "withdraw", first.effective_from.isoformat(), "--yes")
    call_command("rate_card", "withdraw", LATER.isoformat(), "--yes", "--reason", "too early", stdout=out)
    listed = io.StringIO()
    call_command("rate_card", "list", "--json", stdout=listed)
    assert [row["state"] for row in json.loads(listed.getvalue())] == ["withdrawn", "in_force"]


def test_no_such_version(first) -> None:
    """A draft has no page of a version."""
    from pricing.catalogue.selectors import card_version_get

    with pytest.raises(NotFound):
        card_version_get(pk=draft_begin(today=TODAY).pk, today=TODAY)
