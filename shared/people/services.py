"""Changes to people's accounts. Each is written to the history; the history holds ids and roles, no names."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib.auth.password_validation import validate_password
from django.db import transaction
from django.utils.translation import gettext as _
from rest_framework.authtoken.models import Token

from shared.errors import Conflict
from shared.events.services import event_record
from shared.people.domain import e164_of
from shared.people.models import SignInFailure, User
from shared.people.roles import Role
from shared.people.selectors import other_owners_exist

FAILURES_KEPT = timedelta(days=1)


@dataclass(frozen=True)
class NewPerson:
    username: str
    password: str
    role: str = Role.CREW_LEAD
    first_name: str = ""
    last_name: str = ""
    email: str = ""
    phone: str = ""
    country: str = "US"


@transaction.atomic
def person_add(*, new: NewPerson, actor: User | None) -> User:
    """Make an account. Raises ValidationError for a taken name or a weak password, ValueError for a bad number."""
    person = User(
        username=new.username,
        first_name=new.first_name,
        last_name=new.last_name,
        email=new.email,
        phone_e164=e164_of(new.phone, new.country),
    )
    _give_role(person, new.role)
    validate_password(new.password, person)
    person.set_password(new.password)
    person.full_clean()
    person.save()
    event_record(kind="people.added", subject=person, actor=actor, data={"role": person.role})
    return person


def _give_role(person: User, role: str) -> None:
    """The owner may also repair rows in Django's admin; nobody else may."""
    person.role = role
    person.is_staff = person.is_superuser = role == Role.OWNER


@transaction.atomic
def person_set_role(*, person: User, role: str, actor: User | None) -> User:
    """Raises Conflict when nobody would be left as owner."""
    if person.role == role:
        return person
    _keep_an_owner(person)
    before = person.role
    _give_role(person, role)
    person.full_clean()
    person.save()
    event_record(kind="people.role_set", subject=person, actor=actor, data={"before": before, "after": role})
    return person


@transaction.atomic
def person_switch_off(*, person: User, actor: User | None) -> User:
    """No more signing in, open sessions end, tokens are revoked. The history keeps the person."""
    if not person.is_active:
        return person
    _keep_an_owner(person)
    person.is_active = False
    person.save(update_fields=["is_active"])
    Token.objects.filter(user=person).delete()
    event_record(kind="people.switched_off", subject=person, actor=actor)
    return person


@transaction.atomic
def person_switch_on(*, person: User, actor: User | None) -> User:
    if person.is_active:
        return person
    person.is_active = True
    person.save(update_fields=["is_active"])
    event_record(kind="people.switched_on", subject=person, actor=actor)
    return person


def _keep_an_owner(person: User) -> None:
    if person.is_owner and person.is_active and not other_owners_exist(person=person):
        raise Conflict(_("This is the only owner. Make somebody else an owner first."))


@transaction.atomic
def person_set_password(*, person: User, password: str, actor: User | None) -> User:
    """Raises ValidationError for a weak password. Other sessions of the person end."""
    validate_password(password, person)
    person.set_password(password)
    person.save(update_fields=["password"])
    event_record(kind="people.password_set", subject=person, actor=actor)
    return person


@transaction.atomic
def person_set_language(*, person: User, language: str) -> User:
    person.language = language
    person.full_clean()
    person.save(update_fields=["language"])
    return person


@transaction.atomic
def token_make(*, person: User, actor: User | None) -> str:
    """A new token for programs that call the API as `person`; an older one stops working."""
    if not person.is_active:
        raise Conflict(_("This account is switched off."))
    Token.objects.filter(user=person).delete()
    token = Token.objects.create(user=person)
    event_record(kind="people.token_made", subject=person, actor=actor)
    return str(token.key)


@transaction.atomic
def token_revoke(*, person: User, actor: User | None) -> bool:
    """Returns whether there was one."""
    removed, _rows = Token.objects.filter(user=person).delete()
    if removed:
        event_record(kind="people.token_revoked", subject=person, actor=actor)
    return bool(removed)


@transaction.atomic
def sign_in_failure_record(*, username: str, address: str, now: datetime) -> None:
    """Remember a refused sign-in; those older than a day are dropped on the way."""
    SignInFailure.objects.filter(at__lt=now - FAILURES_KEPT).delete()
    SignInFailure.objects.create(username=username.lower()[:150], address=address[:45], at=now)


def sign_in_failures_forget(*, username: str, address: str) -> None:
    SignInFailure.objects.filter(username=username.lower(), address=address).delete()
