"""Error pages. Each says in plain words what happened and offers a way on; the API answers with problem details."""

from typing import Any
from urllib.parse import urlsplit

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext_lazy as _

from shared.api_kit.problems import problem_answer
from shared.errors import WalldayError
from shared.web.htmx import is_partial
from shared.web.navigation import frame_of

API_PREFIX = "/api/"
TEXTS = {
    400: (_("This request was not understood"), _("Something in it was incomplete or not allowed. Please try again.")),
    403: (
        _("This page is not for your role"),
        _("You are signed in, but this page or this step belongs to another role. The owner can change roles."),
    ),
    404: (_("There is no such page"), _("The address may be mistyped, or what it showed is no longer there.")),
    405: (
        _("Nothing can be shown at this address"),
        _("It only takes what a form sends. Open the page with the form and send it again."),
    ),
    500: (
        _("Something went wrong here"),
        _("It is not your fault, and nothing was half saved. Please try again in a minute."),
    ),
}
PROBLEM_TITLES = {
    403: _("Not allowed"),
    404: _("Not found"),
    409: _("That does not fit any more"),
    412: _("Somebody else changed this meanwhile"),
    428: _("Please open the page again"),
}


def _error(request: HttpRequest, status: int, *, with_request: bool = True) -> HttpResponse:
    """`with_request=False` renders without anything that needs the database, which may be what is broken."""
    title, text = TEXTS[status]
    if request.path.startswith(API_PREFIX):
        return problem_answer(status=status, instance=request.path)
    if is_partial(request):
        return _into_messages(render_to_string("web/parts/notice.html", {"kind": "warning", "text": text}), status)
    context: dict[str, Any] = {"status": status, "title": title, "text": text}
    if not with_request:
        return HttpResponse(render_to_string("web/error.html", context | {"frame": "web/base.html"}), status=status)
    return HttpResponse(
        render_to_string("web/error.html", context | {"frame": frame_of(request)}, request), status=status
    )


def _into_messages(body: str, status: int) -> HttpResponse:
    """The answer to htmx: the page stays as it is and the notice appears in its live region."""
    return HttpResponse(body, status=status, headers={"HX-Retarget": "#messages", "HX-Reswap": "innerHTML"})


def _back_url(request: HttpRequest) -> str:
    """The page of ours that was left for this one, or nothing."""
    referer = request.headers.get("Referer", "")
    if not url_has_allowed_host_and_scheme(referer, {request.get_host()}, request.is_secure()):
        return ""
    parts = urlsplit(referer)
    return f"{parts.path}?{parts.query}" if parts.query else parts.path


def problem(request: HttpRequest, error: WalldayError) -> HttpResponse:
    """The page of an error that a person can do something about."""
    if is_partial(request):
        notice = {"kind": "warning", "text": error.message}
        return _into_messages(render_to_string("web/parts/notice.html", notice), error.status)
    title = PROBLEM_TITLES.get(error.status, _("This was not accepted"))
    context = {"error": error, "title": title, "back_url": _back_url(request), "frame": frame_of(request)}
    return HttpResponse(render_to_string("web/problem.html", context, request), status=error.status)


@login_not_required
def favicon(request: HttpRequest) -> HttpResponse:
    """Where browsers look for a picture when a page names none, as Django's own pages do."""
    return redirect(static("web/wallday.svg"))


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return _error(request, 400)


def not_allowed(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return _error(request, 403)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return _error(request, 404)


def wrong_way(request: HttpRequest) -> HttpResponse:
    """For an address that takes forms only: who signs in anew after the form is led there."""
    return _error(request, 405)


def server_error(request: HttpRequest) -> HttpResponse:
    return _error(request, 500, with_request=False)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form that was open too long, or in a browser that keeps no cookies (setting CSRF_FAILURE_VIEW)."""
    text = _(
        "The page was open too long, or your browser keeps no cookies. Go back, reload the page and send it again."
    )
    return (
        problem(request, WalldayError(str(text)))
        if not request.path.startswith(API_PREFIX)
        else problem_answer(status=403, detail=str(text), instance=request.path)
    )
