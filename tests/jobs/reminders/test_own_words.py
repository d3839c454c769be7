"""The owner's own sentences: what may stand in them, where they stand, and what no wording can leave out."""

import json
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from hypothesis import given
from hypothesis import strategies as st

from jobs.reminders.domain.own_words import FIELDS, LONGEST, CauseKind, faults, fill
from jobs.reminders.models import OwnWords
from jobs.reminders.own_words import own_words_set
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminder_preview
from shared.errors import Refused
from shared.events.models import Event
from shared.outbox.domain.sms import sms_count
from tests import factories as make

NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
TODAY = date(2026, 6, 1)
WORDS = "Every {every_months} months: the {service} at {street}, {customer}; last on {last_done}."


@pytest.fixture
def wash(db: None, time_machine: Any) -> Any:
    time_machine.move_to(NOW, tick=False)
    make.set_company()
    return make.make_service(code="wash", name="House wash", name_es="Lavado de casa", interval_months=12)


def due(wash: Any, **over: Any) -> Any:
    customer = over.pop("customer", None) or make.make_customer(name="Ann Sample")
    place = make.make_property(customer=customer, street="12 Sample Street")
    return make.make_interval(property=place, service=wash, **over)


def keep(words: str, **over: Any) -> Any:
    place = {"kind": "wash", "cause": "interval", "language": "en", "channel": "email", **over}
    return own_words_set(words=words, actor=None, now=NOW, **place)


def draft() -> Any:
    (found,) = reminder_preview(keys=[item.key for item in due_list(today=TODAY)], now=NOW, hold_back=False).drafts
    return found


def test_the_sentence_stands_in_place_of_ours(wash: Any) -> None:
    """With the facts of this house; greeting, links, address and way out are still there, and nothing is refused."""
    due(wash)
    ours = draft().body
    keep(WORDS)
    body = draft().body
    assert "Every 12 months: the house wash at 12 Sample Street, Ann Sample; last on 1 June 2025.\n" in body
    assert "We last did" not in body
    assert draft().refusals == []
    for part in ("Hello Ann Sample,", "/a/", "1 Yard Lane", "No more reminders:", "This is an offer"):
        assert part in body
    keep("")
    assert draft().body == ours


def test_it_is_of_one_kind_cause_language_and_channel(wash: Any) -> None:
    """A Spanish customer, a text and chalk keep the words that were written for them, or ours."""
    due(wash, customer=make.make_customer(language="es"))
    keep(WORDS)
    assert "Every 12 months" not in draft().body
    keep("Cada {every_months} meses en {street}.", language="es")
    assert "Cada 12 meses en 12 Sample Street." in draft().body


def test_a_fact_that_is_not_known_brings_ours_back(wash: Any) -> None:
    """Nobody reads of a last time that never was."""
    due(wash, last_done_on=None)
    keep(WORDS)
    assert "Every" not in draft().body
    assert "was due about" in draft().body or "is due about" in draft().body


def test_a_text_keeps_to_the_cheap_letters(wash: Any) -> None:
    """Our alphabet for the owner's words as well; the number and the link stand behind them."""
    customer = make.make_customer(email="", language="es")
    make.make_consent(customer=customer, channel="text", given=True)
    due(wash, customer=customer)
    keep("¿Toca otra vez el lavado en {street}? Última vez: {last_done}", channel="text", language="es")
    body = draft().body
    assert "Ultima vez: 1 de junio de 2025" in body
    assert sms_count(body).encoding == "GSM-7"
    assert "(555) 555-0100" in body
    keep("x" * 200, channel="text", language="es")
    assert [finding.code for finding in draft().findings] == ["many_parts"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("reading", "cause", "words"),
    [
        (3, "reading", "{wall} read {reading} on {read_on}, your limit is {limit}"),
        (None, "forecast", "{wall}: {passes}, {earliest} to {latest}"),
    ],
)
def test_walls_have_words_of_their_own(wash: Any, reading: int | None, cause: str, words: str) -> None:
    make.make_service(code="removal", removes_chalk=True)
    if reading:
        make.make_reading(wall=make.make_wall(name="South wall"), reading=reading, read_on=date(2025, 6, 2))
    else:
        make.make_forecast()
    keep(words, kind="chalk", cause=cause)
    expected = {
        "reading": "the south wall read 3 on 2 June 2025, your limit is 2",
        "forecast": "the south wall: June 2026",
    }
    assert expected[cause] in draft().body


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ("Our wash kills mold", "claim"), ("Nuestro lavado elimina las algas", "claim"),
        ("See https://wash.example.com/offer", "own_link"), ("www.example.com", "own_link"),
        ("On {day} at {street}", "unknown_field"), ("{wall} is due", "unknown_field"), ("{}", "unknown_field"),
        ("At {street", "stray_brace"), ("street}", "stray_brace"), ("x" * (LONGEST + 1), "too_long"),
        ("Last chance before it is too late", "fear"), ("¡Última oportunidad!", "fear"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named_and_nothing_is_kept(words: str, code: str, wash: Any) -> None:
    """Each rule by itself; what was kept before stays."""
    assert code in [finding.code for finding in faults(words, CauseKind.INTERVAL)]
    keep(WORDS)
    with pytest.raises(Refused):
        keep(words)
    assert OwnWords.objects.get().words == WORDS


@pytest.mark.parametrize("over", [{"kind": "none"}, {"cause": "reading"}, {"language": "fr"}, {"channel": "pigeon"}])
def test_words_for_what_never_falls_due_are_refused(wash: Any, over: dict[str, str]) -> None:
    with pytest.raises(Refused):
        keep(WORDS, **over)
    assert not OwnWords.objects.exists()


@given(st.text(max_size=80), st.dictionaries(st.sampled_from(FIELDS[CauseKind.READING]), st.text(max_size=20)))
def test_any_words_are_filled_or_left(words: str, facts: dict[str, str]) -> None:
    """Good words hold no field afterwards but what the facts themselves bring, or give way to ours."""
    if faults(words, CauseKind.READING):
        return
    filled = fill(words, facts)
    named = [name for name in FIELDS[CauseKind.READING] if f"{{{name}}}" in words]
    assert (filled == "") == (not words or any(not facts.get(name) for name in named))
    if not named:
        assert filled == words


def test_a_change_is_in_the_history(wash: Any, owner: Any) -> None:
    """Before and after, by whom; keeping the same again is no change."""
    for _ in range(2):
        own_words_set(
            kind="wash", cause="interval", language="en", channel="email", words=WORDS, actor=owner, now=NOW
        )  # fmt: skip
    event = Event.objects.get(kind="reminders.own_words")
    assert (event.actor, event.data["before"], event.data["after"]) == (owner, "", WORDS)


def test_the_page_shows_before_it_keeps(wash: Any, owner: Any, office: Any, crew_lead: Any, client_of: Any) -> None:
    """Words are shown on somebody who is due; what is wrong is said, nothing typed is lost; the owner keeps them."""
    due(wash)
    path, form = "/due/words/?kind=wash&language=en", {"cause": "interval", "channel": "email", "words": WORDS}
    client = client_of(owner)
    assert "We last did the house wash" in client.get(path).content.decode()
    shown = client.post(path, {**form, "show": "1"}).content.decode()
    assert "Every 12 months: the house wash at 12 Sample Street, Ann Sample" in shown
    assert not OwnWords.objects.exists()
    wrong = client.post(path, {**form, "words": "It kills mold at {street}", "keep": "1"})
    assert (wrong.status_code, "registered product" in wrong.content.decode()) == (422, True)
    assert "It kills mold at {street}</textarea>" in wrong.content.decode()
    assert client.post(path, {**form, "keep": "1"}).status_code == 302
    assert OwnWords.objects.get().words == WORDS
    assert client_of(office).get(path).status_code == 200
    assert client_of(office).post(path, {**form, "keep": "1"}).status_code == 403
    assert client_of(crew_lead).get(path).status_code == 403
    assert client.post(path, {"cause": "x", "keep": "1"}).status_code == 422


def test_without_anybody_due_an_invented_customer_stands_in(wash: Any, owner: Any, client_of: Any) -> None:
    make.make_service(code="removal", name="Chalk removal", removes_chalk=True)
    page = client_of(owner).get("/due/words/?kind=chalk&language=es").content.decode()
    assert page.count("12 Sample Street") == 2
    assert page.count('lang="es"') >= 4
    assert "No service on offer" not in page


def test_programs_and_the_command_keep_words(wash: Any, owner: Any, office: Any, client_of: Any, capsys: Any) -> None:
    """The same rules; the office may look."""
    body = {"kind": "wash", "cause": "interval", "language": "en", "channel": "email", "words": WORDS}
    path = "/api/reminders/words/"
    assert client_of(office).put(path, body, content_type="application/json").status_code == 403
    assert client_of(owner).put(path, body, content_type="application/json").status_code == 204
    assert client_of(office).get(path).json() == [body]
    wrong = client_of(owner).put(path, {**body, "words": "{nothing}"}, content_type="application/json")
    assert wrong.status_code == 422
    call_command("reminder_words", json=True)
    assert json.loads(capsys.readouterr().out) == [body]
    call_command("reminder_words", "wash", "interval", "en", "email", words="")
    assert "0 own sentences" in capsys.readouterr().out
    with pytest.raises(CommandError, match="nothing to put in"):
        call_command("reminder_words", "wash", "interval", "en", "email", words="{nothing}")
    with pytest.raises(CommandError, match="Name kind"):
        call_command("reminder_words", "wash")
