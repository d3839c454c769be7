"""Accounts: adding people, roles, switching off, passwords, tokens, language. Every change is in the history."""

from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from rest_framework.authtoken.models import Token

from shared.errors import Conflict, NotFound
from shared.events.models import Event
from shared.people import services
from shared.people.models import User
from shared.people.selectors import person_get
from tests import factories

NEW = {
    "first_name": "Lena",
    "last_name": "Hose",
    "username": "lena",
    "role": "crew_lead",
    "phone": "(614) 555-0123",
    "password": "wet gloves and sun",
}


def kinds(person: User) -> list[str]:
    return list(
        Event.objects.filter(subject_type="people.user", subject_id=person.pk)
        .order_by("id")
        .values_list("kind", flat=True)
    )


@pytest.fixture
def page(owner: Any, client_of: Any) -> Client:
    return client_of(owner)


def test_the_owner_adds_a_person(page: Client, owner: User) -> None:
    """The new person can sign in; the number is stored in one form; the history says who added them."""
    assert page.post("/people/new/", NEW)["Location"] == "/people/"
    lena = User.objects.get(username="lena")
    assert (lena.role, lena.phone_e164, lena.is_staff) == ("crew_lead", "+16145550123", False)
    assert Client().login(username="lena", password="wet gloves and sun")
    event = Event.objects.get(kind="people.added")
    assert (event.actor, event.data) == (owner, {"role": "crew_lead"})
    assert "Lena Hose" in page.get("/people/").content.decode()


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"username": "owner"}, "already exists"),
        ({"username": "with space"}, "valid username"),
        ({"password": "short"}, "too short"),
        ({"password": "password1"}, "too common"),
        ({"phone": "call me"}, "not a telephone number"),
        ({"role": "king"}, "Select a valid choice"),
        ({"first_name": ""}, "required"),
        ({"email": "no address"}, "valid email"),
    ],
)
def test_what_is_wrong_is_said_beside_the_field(page: Client, change: dict[str, str], text: str) -> None:
    """Nothing is stored, and the form says why."""
    answer = page.post("/people/new/", NEW | change)
    assert answer.status_code == 200
    assert text in answer.content.decode()
    assert User.objects.count() == 1


def test_roles_change_with_their_rights(page: Client, owner: User) -> None:
    """An owner may open the repair pages, others not; the history holds both roles."""
    lena = factories.make_user(role="crew_lead")
    page.post(f"/people/{lena.pk}/role/", {"role": "owner"})
    lena.refresh_from_db()
    assert (lena.role, lena.is_staff, lena.is_superuser) == ("owner", True, True)
    page.post(f"/people/{lena.pk}/role/", {"role": "office"})
    lena.refresh_from_db()
    assert (lena.role, lena.is_staff, lena.is_superuser) == ("office", False, False)
    assert kinds(lena) == ["people.role_set", "people.role_set"]
    assert Event.objects.last() is not None


def test_the_last_owner_stays(page: Client, owner: User) -> None:
    """Neither by role nor by switching off can a firm lose its last owner; a switched-off owner does not count."""
    factories.make_user(role="owner", is_active=False)
    assert page.post(f"/people/{owner.pk}/role/", {"role": "office"}).status_code == 409
    assert page.post(f"/people/{owner.pk}/switch/", {"to": "off"}).status_code == 409
    owner.refresh_from_db()
    assert (owner.role, owner.is_active) == ("owner", True)
    assert kinds(owner) == []


def test_switching_off_ends_everything(page: Client, client_of: Any) -> None:
    """Open sessions and tokens stop at once; switching on again lets the person sign in anew."""
    oscar = factories.make_user(role="office")
    session, token = client_of(oscar), services.token_make(person=oscar, actor=None)
    page.post(f"/people/{oscar.pk}/switch/", {"to": "off"})
    assert session.get("/people/me/").status_code == 302
    assert not Token.objects.filter(key=token).exists()
    with pytest.raises(Conflict):
        services.token_make(person=User.objects.get(pk=oscar.pk), actor=None)
    page.post(f"/people/{oscar.pk}/switch/", {"to": "on"})
    assert kinds(oscar) == ["people.token_made", "people.switched_off", "people.switched_on"]


def test_doing_it_twice_is_one_event(owner: User, db: None) -> None:
    """Setting what is set already changes nothing."""
    oscar = factories.make_user(role="office")
    services.person_set_role(person=oscar, role="office", actor=owner)
    services.person_switch_on(person=oscar, actor=owner)
    services.person_switch_off(person=oscar, actor=owner)
    services.person_switch_off(person=oscar, actor=owner)
    assert kinds(oscar) == ["people.switched_off"]


def test_the_owner_gives_a_new_password(page: Client) -> None:
    """A weak one is refused beside the field; a good one works."""
    oscar = factories.make_user(username="oscar", role="office")
    weak = page.post(f"/people/{oscar.pk}/password/", {"password": "12345678"})
    assert weak.status_code == 422
    assert "numeric" in weak.content.decode() or "common" in weak.content.decode()
    page.post(f"/people/{oscar.pk}/password/", {"password": "desk and telephone"})
    assert Client().login(username="oscar", password="desk and telephone")
    assert kinds(oscar) == ["people.password_set"]


def test_everybody_changes_their_own_password(office: User, client_of: Any) -> None:
    """The old one is asked for; the present session goes on, others end."""
    here, elsewhere = client_of(office), client_of(office)
    new = {"new_password1": "desk and telephone", "new_password2": "desk and telephone"}
    assert here.post("/people/me/password/", {"old_password": "wrong", **new}).status_code == 200
    assert here.post("/people/me/password/", {"old_password": "a long enough password", **new}).status_code == 302
    assert here.get("/people/me/").status_code == 200
    assert elsewhere.get("/people/me/").status_code == 302


@pytest.mark.parametrize("role", ["office", "crew_lead"])
def test_only_the_owner_manages_people(role: str, client_of: Any, db: None) -> None:
    """Others see neither the list nor anybody's page, and change nothing."""
    other, client = factories.make_user(role="crew_lead"), client_of(factories.make_user(role=role))
    for address in ("/people/", "/people/new/", f"/people/{other.pk}/"):
        assert client.get(address).status_code == 403
    for step, data in (
        ("role", {"role": "owner"}),
        ("switch", {"to": "off"}),
        ("password", {"password": "a good new one"}),
    ):
        assert client.post(f"/people/{other.pk}/{step}/", data).status_code == 403
    other.refresh_from_db()
    assert (other.role, other.is_active) == ("crew_lead", True)


@pytest.mark.parametrize("person_id", ["999999", "0", "9223372036854775808", "1e3"])
def test_nobody_there(page: Client, person_id: str) -> None:
    """An unknown or impossible number is a page that is not there."""
    assert page.get(f"/people/{person_id}/").status_code == 404
    with pytest.raises(NotFound):
        person_get(person_id=999_999)


def test_a_token_opens_the_api(office: User, client_of: Any) -> None:
    """It is shown once; the next one replaces it; revoked, it opens nothing."""
    client = client_of(office)

    def make() -> str:
        answer = client.post("/people/me/token/").content.decode()
        key = Token.objects.get(user=office).key
        assert key in answer
        return key

    def status(key: str) -> int:
        return Client().get("/api/schema/", headers={"Authorization": f"Token {key}"}).status_code

    first = make()
    assert status(first) == 200
    assert first not in client.get("/people/me/").content.decode()
    second = make()
    assert (status(first), status(second)) == (401, 200)
    client.post("/people/me/token/revoke/")
    assert status(second) == 401
    assert kinds(office) == ["people.token_made", "people.token_made", "people.token_revoked"]


def test_the_command_makes_and_revokes(office: User) -> None:
    """`manage.py api_token NAME` prints the token; --revoke takes it back; an unknown name is an error."""

    def run(*args: str) -> str:
        out = StringIO()
        call_command("api_token", *args, stdout=out)
        return out.getvalue().strip()

    assert run("office") == Token.objects.get(user=office).key
    assert run("office", "--revoke") == "The token no longer works."
    assert run("office", "--revoke") == "There was no token."
    with pytest.raises(CommandError, match="no person"):
        run("nobody")


def test_the_language_is_kept(crew_lead: User, client_of: Any) -> None:
    """Chosen on one's own page, kept with the account; empty goes back to what the browser asks."""
    client = client_of(crew_lead)
    client.post("/people/me/language/", {"language": "es"})
    crew_lead.refresh_from_db()
    assert crew_lead.language == "es"
    assert '<html lang="es">' in client.get("/people/me/").content.decode()
    client.post("/people/me/language/", {"language": "xx"})
    client.post("/people/me/language/", {"language": ""})
    assert '<html lang="en' in client.get("/people/me/").content.decode()
    spanish = client.get("/people/me/", headers={"Accept-Language": "es-MX"}).content.decode()
    assert '<html lang="es">' in spanish


def test_repair_pages_change_no_account(client_of: Any, db: None) -> None:
    """Nothing that belongs in the history can be changed around it: no new account, no role, no switch."""
    new = services.NewPerson(username="olive", password="wash the walls", role="owner")
    page = client_of(services.person_add(new=new, actor=None))
    lena = factories.make_user(role="crew_lead")
    assert page.get("/admin/people/user/add/").status_code == 403
    assert page.get(f"/admin/people/user/{lena.pk}/delete/").status_code == 403
    change = {"first_name": "Lena", "role": "owner", "is_active": "", "is_superuser": "on", "username": "other"}
    assert page.post(f"/admin/people/user/{lena.pk}/change/", change).status_code == 302
    after = User.objects.get(pk=lena.pk)
    assert (after.first_name, after.role, after.is_active, after.is_superuser) == ("Lena", "crew_lead", True, False)
    assert after.username == lena.username


def test_query_count_of_the_list(page: Client, assert_query_count: Any) -> None:
    """More people cost no more queries."""
    for _ in range(5):
        factories.make_user()
    with assert_query_count("people"):
        page.get("/people/")
