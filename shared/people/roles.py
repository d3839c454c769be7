"""The three roles, and who may open a page. Every page is closed to people who are not signed in."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import models
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

View = Callable[..., HttpResponse]


class Role(models.TextChoices):
    OWNER = "owner", _("owner")
    OFFICE = "office", _("office")
    CREW_LEAD = "crew_lead", _("crew lead")


def _only(roles: tuple[str, ...]) -> Callable[[View], View]:
    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if getattr(request.user, "role", None) not in roles:
                raise PermissionDenied
            return view(request, *args, **kwargs)

        return guarded

    return decorate


owner_required = _only((Role.OWNER,))
office_required = _only((Role.OWNER, Role.OFFICE))
crew_required = _only((Role.CREW_LEAD,))
signed_in = _only((Role.OWNER, Role.OFFICE, Role.CREW_LEAD))
