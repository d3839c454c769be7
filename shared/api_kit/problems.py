"""Errors of the API as problem details (RFC 9457): type, title, status, detail, instance, and what the kind adds.

`type` is a relative reference whose last part is the error's stable code; programs decide by it or by `status`,
people read `detail`. Wrong fields are listed in `errors`, each with a JSON pointer (RFC 6901) into the body.
"""

import json
import logging
from collections.abc import Iterator, Mapping
from http import HTTPStatus
from typing import Any

from django.core.exceptions import NON_FIELD_ERRORS, PermissionDenied, RequestDataTooBig
from django.core.exceptions import ValidationError as DjangoValidationError
from django.db import IntegrityError
from django.db.models.deletion import ProtectedError, RestrictedError
from django.http import Http404, HttpResponse
from django.utils.encoding import escape_uri_path
from django.utils.translation import gettext
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from shared.errors import WalldayError

logger = logging.getLogger(__name__)
MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "/problems/"


def problem_body(*, status: int, code: str = "", detail: str = "", instance: str = "", **extra: Any) -> dict[str, Any]:
    """The members of a problem. Without a code of its own the type is about:blank, as the RFC says.

    `instance` is a path as a person reads it; it goes out as a URI reference.
    """
    body: dict[str, Any] = {
        "type": f"{TYPE_PREFIX}{code}" if code else "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail or HTTPStatus(status).description or HTTPStatus(status).phrase,
        "instance": escape_uri_path(instance),
    }
    return body | extra


def problem_answer(*, status: int, detail: str = "", instance: str = "") -> HttpResponse:
    """A problem outside of the API's views: an unknown address, or a failure before a view was reached."""
    body = problem_body(status=status, detail=detail, instance=instance)
    return HttpResponse(json.dumps(body), status=status, content_type=MEDIA_TYPE)


def problem_response(error: Exception, context: Mapping[str, Any]) -> Response | None:
    """The exception handler of the API (setting EXCEPTION_HANDLER); None for errors that are our own fault."""
    known = _known(error)
    if known is None:
        return None
    instance = getattr(context.get("request"), "path", "")
    set_rollback()
    headers = known.pop("headers", {})
    return Response(problem_body(instance=instance, **known), known["status"], headers=headers, content_type=MEDIA_TYPE)


def _known(error: Exception) -> dict[str, Any] | None:
    if isinstance(error, WalldayError):
        return {"status": error.status, "code": error.code, "detail": error.message, **_fields(error)}
    if isinstance(error, DjangoValidationError):
        return _invalid(_django_messages(error))
    if isinstance(error, ProtectedError | RestrictedError):
        return {"status": 409, "code": "conflict", "detail": gettext("Other records still need this one.")}
    if isinstance(error, IntegrityError):
        # Only the first line: on PostgreSQL the second one quotes the row's values.
        logger.warning("refused by the database: %s", str(error).partition("\n")[0])
        return {"status": 409, "code": "conflict", "detail": gettext("This does not fit what is stored already.")}
    for kind, status in ((RequestDataTooBig, 413), (Http404, 404), (PermissionDenied, 403)):
        if isinstance(error, kind):
            return {"status": status}
    return _of_framework(error) if isinstance(error, exceptions.APIException) else None


def _fields(error: WalldayError) -> dict[str, Any]:
    """The error's own members, without those that would cover the standard ones."""
    taken = {"type", "title", "status", "detail", "instance", "code", "headers"}
    return {name: value for name, value in error.fields.items() if name not in taken}


def _of_framework(error: exceptions.APIException) -> dict[str, Any]:
    if isinstance(error, exceptions.ValidationError):
        return _invalid(error.detail)
    headers = {"WWW-Authenticate": getattr(error, "auth_header", None), "Retry-After": getattr(error, "wait", None)}
    headers = {name: str(value) for name, value in headers.items() if value is not None}
    return {"status": error.status_code, "detail": str(error.detail), "headers": headers}


def _invalid(detail: Any) -> dict[str, Any]:
    return {
        "status": 400,
        "code": "invalid",
        "detail": gettext("Some values were not accepted; `errors` names them."),
        "errors": list(pointed_errors(detail)),
    }


def _django_messages(error: DjangoValidationError) -> Any:
    return error.message_dict if hasattr(error, "error_dict") else error.messages


def pointed_errors(detail: Any, pointer: str = "") -> Iterator[dict[str, str]]:
    """Nested messages as a flat list of pointer and detail. An empty pointer means the whole body."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            whole = name in ("non_field_errors", NON_FIELD_ERRORS)
            yield from pointed_errors(inner, pointer if whole else f"{pointer}/{_escaped(str(name))}")
    elif isinstance(detail, list | tuple):
        nested = any(isinstance(inner, Mapping | list | tuple) for inner in detail)
        for place, inner in enumerate(detail):
            yield from pointed_errors(inner, f"{pointer}/{place}" if nested else pointer)
    else:
        yield {"pointer": pointer, "detail": str(detail)}


def _escaped(name: str) -> str:
    """RFC 6901, section 3: ~ as ~0, / as ~1."""
    return name.replace("~", "~0").replace("/", "~1")
