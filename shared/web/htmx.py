"""One way to answer a request that wants only a part of a page."""

from typing import Any, cast

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils.cache import patch_vary_headers
from django_htmx.middleware import HtmxDetails


def is_partial(request: HttpRequest) -> bool:
    """Whether htmx asks for a part: not for a boosted link, and not to restore a page of its history."""
    htmx = cast("HtmxDetails | None", getattr(request, "htmx", None))
    return bool(htmx) and htmx is not None and not htmx.boosted and not htmx.history_restore_request


def part_template(template: str, part: str) -> str:
    """`plans/day.html`, `routes` -> `plans/parts/routes.html`."""
    folder, _, _ = template.rpartition("/")
    return f"{folder}/parts/{part}.html"


def render_page(
    request: HttpRequest, template: str, context: dict[str, Any], part: str | None = None, status: int = 200
) -> HttpResponse:
    """Render `template`, or only its part `part` when htmx asks for it.

    The page includes the same part, so both answers are alike. A part brings along the notices of what just
    happened. Answers differ by the HX-Request header and say so to caches.
    """
    if part is not None and is_partial(request):
        body = render_to_string(part_template(template, part), context, request)
        body += render_to_string("web/parts/messages.html", {"oob": True}, request)
    else:
        body = render_to_string(template, context, request)
    response = HttpResponse(body, status=status)
    if part is not None:
        patch_vary_headers(response, ["HX-Request"])
    return response
