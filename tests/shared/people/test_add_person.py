"""The first owner of a company is made by a command."""

import io

import pytest
from django.core.management import CommandError, call_command

from shared.people.models import User


def add(monkeypatch: pytest.MonkeyPatch, password: str, *arguments: str) -> str:
    out = io.StringIO()
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{password}\n"))
    call_command("add_person", *arguments, stdout=out)
    return out.getvalue()


@pytest.mark.django_db
def test_the_first_owner_can_sign_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """The account has the role, the password works and the owner may repair rows."""
    assert "as owner" in add(monkeypatch, "a long enough password", "mara", "--role", "owner")
    person = User.objects.get(username="mara")
    assert person.is_owner
    assert person.is_staff
    assert person.check_password("a long enough password")


@pytest.mark.django_db
@pytest.mark.parametrize(("password", "words"), [("short", "too short"), ("", "too short")])
def test_a_weak_password_is_refused(monkeypatch: pytest.MonkeyPatch, password: str, words: str) -> None:
    """Refused in words, and nobody was added."""
    with pytest.raises(CommandError, match=words):
        add(monkeypatch, password, "mara")
    assert not User.objects.exists()


@pytest.mark.django_db
def test_a_taken_name_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """The account that has the name stays as it was."""
    add(monkeypatch, "a long enough password", "mara", "--role", "owner")
    with pytest.raises(CommandError, match="already exists"):
        add(monkeypatch, "another long password", "mara")
    assert User.objects.get(username="mara").check_password("a long enough password")
