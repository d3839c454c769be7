"""JSON bodies, read so that whatever is in them can be stored or refused, never crash further in."""

import json
from collections.abc import Mapping
from typing import Any

from django.conf import settings
from django.utils.translation import gettext as _
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import JSONParser


class BodyTooLarge(APIException):
    status_code = 413
    default_detail = "The body is larger than this server takes."


class PlainJson(JSONParser):
    """Standard JSON (no NaN), not larger than forms may be, nested reasonably, of characters that can be stored.

    NUL characters and half surrogate pairs are JSON, but no database text.
    """

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Mapping[str, Any] | None = None) -> Any:
        greatest = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        body = stream.read(greatest + 1)
        if len(body) > greatest:
            raise BodyTooLarge
        return read_json(body)


def read_json(body: bytes) -> Any:
    """Raises ParseError for whatever is not JSON that can be stored."""
    try:
        data = json.loads(body.decode("utf-8-sig"), parse_constant=_refuse_constant)
        _refuse_unstorable(data)
    except RecursionError as error:
        raise ParseError(_("The body is nested too deeply.")) from error
    except ValueError as error:  # covers UnicodeDecodeError and JSONDecodeError
        raise ParseError(_("The body is not JSON that can be read: %(why)s") % {"why": error}) from error
    return data


def _refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is not a JSON number")


def _refuse_unstorable(data: Any) -> None:
    if isinstance(data, str):
        if "\x00" in data:
            raise ValueError("a text holds a NUL character")
        if any("\ud800" <= letter <= "\udfff" for letter in data):
            raise ValueError("a text holds half of a surrogate pair")
    elif isinstance(data, dict):
        for name, inner in data.items():
            _refuse_unstorable(name)
            _refuse_unstorable(inner)
    elif isinstance(data, list):
        for inner in data:
            _refuse_unstorable(inner)
