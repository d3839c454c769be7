"""Signing in and out."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from shared.people.domain import FREE_TRIES, WAIT, e164_of, wait_until
from shared.people.models import SignInFailure
from tests import factories

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)


def sign_in(client: Client, username: str = "olive", password: str = "a long enough password", **extra: Any) -> Any:
    return client.post("/sign-in/", {"username": username, "password": password, **extra})


@pytest.mark.django_db
def test_sign_in_leads_to_the_page_that_was_asked_for() -> None:
    """Whoever is not signed in is sent to the form and then on; a foreign address is not followed."""
    factories.make_user(username="olive", role="office")
    asked = Client().get("/people/me/")
    assert asked["Location"] == "/sign-in/?next=/people/me/"
    assert sign_in(Client(), next="/people/me/")["Location"] == "/people/me/"
    assert sign_in(Client(), next="https://elsewhere.example/")["Location"] == "/"


@pytest.mark.django_db
def test_a_wrong_password_is_said_without_saying_which() -> None:
    """An unknown name and a wrong password get the same answer."""
    factories.make_user(username="olive")
    texts = {sign_in(Client(), username=name, password="wrong").content.decode() for name in ("olive", "nobody")}
    assert all("Name and password do not match" in text for text in texts)


@pytest.mark.django_db
def test_guessing_has_to_wait() -> None:
    """After five wrong tries even the right password waits, and the form says how long; later it works again."""
    factories.make_user(username="olive")
    with time_machine.travel(NOW, tick=False) as clock:
        for _ in range(FREE_TRIES):
            assert "do not match" in sign_in(Client(), password="wrong").content.decode()
        assert "Please try again in 10 min" in sign_in(Client()).content.decode()
        clock.shift(WAIT - timedelta(seconds=30))
        assert "Please try again in 1 min" in sign_in(Client()).content.decode()
        clock.shift(timedelta(seconds=31))
        assert sign_in(Client()).status_code == 302


@pytest.mark.django_db
def test_others_do_not_wait() -> None:
    """Only this name from this address waits; capital letters make no other name."""
    factories.make_user(username="olive")
    factories.make_user(username="oscar")
    for _ in range(FREE_TRIES):
        sign_in(Client(), password="wrong")
    assert sign_in(Client(), username="oscar").status_code == 302
    assert sign_in(Client(REMOTE_ADDR="192.0.2.9")).status_code == 302
    assert "Too many tries" in sign_in(Client(), username="OLIVE").content.decode()


@pytest.mark.django_db
def test_a_good_sign_in_forgets_the_failures() -> None:
    """Four slips and then the right password: the count begins anew."""
    factories.make_user(username="olive")
    for _ in range(FREE_TRIES - 1):
        sign_in(Client(), password="wrong")
    assert sign_in(Client()).status_code == 302
    assert SignInFailure.objects.count() == 0


@pytest.mark.django_db
def test_old_failures_are_dropped() -> None:
    """What is older than a day is not kept."""
    SignInFailure.objects.create(username="x", address="192.0.2.1", at=NOW - timedelta(days=2))
    with time_machine.travel(NOW, tick=False):
        sign_in(Client(), username="y", password="wrong")
    assert list(SignInFailure.objects.values_list("username", flat=True)) == ["y"]


@pytest.mark.django_db
def test_a_switched_off_account_stays_out() -> None:
    """The right password does not help."""
    factories.make_user(username="olive", is_active=False)
    assert sign_in(Client()).status_code == 200


@pytest.mark.django_db
def test_strange_names_are_no_crash() -> None:
    """NUL, very long and foreign names are refused as any other."""
    for name in ("a\x00b", "x" * 5000, "名前", "' OR 1=1 --"):
        assert sign_in(Client(), username=name, password="wrong").status_code == 200


def test_sign_out_is_a_form(office: Any, client_of: Any) -> None:
    """A link cannot sign anybody out; the button does."""
    client = client_of(office)
    assert client.get("/sign-out/").status_code == 405
    client.post("/sign-out/")
    assert client.get("/people/me/").status_code == 302


@pytest.mark.django_db
def test_a_part_after_the_session_ended_reloads_the_page() -> None:
    """htmx follows the redirect to the form; the form must not land inside a part."""
    answer = Client().get("/sign-in/", headers={"HX-Request": "true"})
    assert answer["HX-Refresh"] == "true"


@pytest.mark.django_db
def test_the_language_of_the_person_comes_with_the_sign_in() -> None:
    """Whoever chose Spanish reads Spanish after signing in on another machine."""
    factories.make_user(username="olive", language="es")
    client = Client()
    sign_in(client)
    assert client.cookies["django_language"].value == "es"
    assert '<html lang="es">' in client.get("/people/me/").content.decode()


@given(st.lists(st.timedeltas(min_value=timedelta(0), max_value=WAIT).map(lambda ago: NOW - ago), max_size=12))
def test_wait_ends_after_the_last_failure(failures: list[datetime]) -> None:
    """Fewer than five failures cost nothing; five or more cost the wait, counted from the last."""
    until = wait_until(failures)
    assert until == (max(failures) + WAIT if len(failures) >= FREE_TRIES else None)


@pytest.mark.parametrize(
    ("text", "country", "e164"),
    [
        ("(614) 555-0123", "US", "+16145550123"),
        ("+44 20 7946 0123", "US", "+442079460123"),
        ("", "US", ""),
        ("  ", "US", ""),
    ],
)
def test_numbers_are_stored_in_one_form(text: str, country: str, e164: str) -> None:
    """As people write it in the firm's country, or with the country's code."""
    assert e164_of(text, country) == e164


@given(st.text())
def test_any_text_is_a_number_or_refused(text: str) -> None:
    """The result is empty or begins with +; everything else is a ValueError."""
    try:
        found = e164_of(text, "US")
    except ValueError:
        return
    assert found == "" or (found[0] == "+" and found[1:].isdigit() and len(found) <= 16)
