"""Changes that name the version they were made for (RFC 9110, sections 8.8.3 and 13.1.1; RFC 6585, section 3).

An ETag here only names what was seen. The change itself must be conditional too: a service updates
`WHERE version = expected` and raises Stale when no row was left to change.
"""

from typing import Any, Protocol, TypeVar

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils.http import parse_etags
from django.utils.translation import gettext as _
from rest_framework.request import Request

from shared.errors import PreconditionMissing, Stale

Answer = TypeVar("Answer", bound=HttpResponseBase)


class Versioned(Protocol):
    @property
    def pk(self) -> Any: ...

    @property
    def version(self) -> int: ...


def etag_of(thing: Versioned) -> str:
    """The strong ETag of one state of a row: `"<id>-<version>"`, quotes included."""
    return f'"{thing.pk}-{thing.version}"'


def with_etag(answer: Answer, thing: Versioned) -> Answer:
    answer["ETag"] = etag_of(thing)
    return answer


def expected_version(request: HttpRequest | Request, thing: Versioned) -> int:
    """The version that the caller saw, to be handed to the service.

    Raises PreconditionMissing (428) without If-Match and Stale (412) when it names another state. Weak tags never
    match here, `*` always does.
    """
    header = request.headers.get("If-Match", "")
    if not header.strip():
        raise PreconditionMissing(_("Name the version you saw: send its ETag in If-Match."))
    seen = parse_etags(header)
    if "*" not in seen and etag_of(thing) not in seen:
        raise Stale(_("This was changed meanwhile. Fetch it again and repeat your change."), etag=etag_of(thing))
    return thing.version
