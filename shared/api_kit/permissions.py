"""Who may call an operation of the API. Closed by default: an operation that says nothing is the owner's."""

from typing import Any

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from shared.people.roles import Role


class _RoleIn(BasePermission):
    roles: tuple[str, ...] = ()

    def has_permission(self, request: Request, view: Any) -> bool:
        return getattr(request.user, "role", None) in self.roles


class OwnerOnly(_RoleIn):
    roles = (Role.OWNER,)


class OfficeOnly(_RoleIn):
    roles = (Role.OWNER, Role.OFFICE)


class SignedIn(_RoleIn):
    roles = (Role.OWNER, Role.OFFICE, Role.CREW_LEAD)
