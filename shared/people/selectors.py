from datetime import datetime

from django.db.models import QuerySet

from shared.errors import NotFound
from shared.people.domain import WAIT, wait_until
from shared.people.models import SignInFailure, User
from shared.people.roles import Role


def person_list() -> QuerySet[User]:
    """Everybody with an account: those who may sign in first, by name."""
    return User.objects.order_by("-is_active", "first_name", "last_name", "username", "id")


def person_get(*, person_id: int) -> User:
    """Raises NotFound."""
    person = User.objects.filter(pk=person_id).first()
    if person is None:
        raise NotFound("There is no such person.")
    return person


def other_owners_exist(*, person: User) -> bool:
    """Whether somebody else could still run the firm if `person` no longer could."""
    return User.objects.filter(role=Role.OWNER, is_active=True).exclude(pk=person.pk).exists()


def sign_in_wait_until(*, username: str, address: str, now: datetime) -> datetime | None:
    """From when on `username` may be tried again from `address`; None: now."""
    recent = SignInFailure.objects.filter(username=username.lower(), address=address, at__gt=now - WAIT)
    return wait_until(list(recent.values_list("at", flat=True)))
