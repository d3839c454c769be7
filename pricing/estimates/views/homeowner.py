"""The homeowner's page: a signed link, no account. Looking changes nothing; the typed name does, once."""

from collections.abc import Callable
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from pricing.estimates.forms import AcceptForm, DeclineForm
from pricing.estimates.links import sent_of
from pricing.estimates.models import EstimatePrint, SentEstimate
from pricing.estimates.selectors import sent_get
from pricing.estimates.services import estimate_accept, estimate_decline
from pricing.estimates.services.answering import require_open
from pricing.estimates.services.sending import LANGUAGES
from pricing.estimates.views.files import print_answer
from shared import clock
from shared.errors import NotFound, WalldayError
from shared.web.present import today_here


def _readable(token: str) -> SentEstimate:
    """The sent estimate of a link: open, or answered in this very version. Raises LinkRefused, EstimateClosed."""
    sent = sent_get(pk=sent_of(token))
    answer = getattr(sent.estimate, "answer", None)
    if answer is None or answer.shown.sent_id != sent.pk:
        require_open(sent, today_here())
    return sent


def _print(sent: SentEstimate, language: str) -> EstimatePrint:
    shown = next((row for row in sent.prints.all() if row.language == language), None)
    if shown is None:
        raise NotFound(_("There is no such language."))
    return shown


@login_not_required
@never_cache
@require_GET
def opened(request: HttpRequest, token: str) -> HttpResponse:
    """To the page in the customer's own language."""
    sent = sent_get(pk=sent_of(token))
    return redirect("estimates:shown", token=token, language=sent.estimate.language)


@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def shown(request: HttpRequest, token: str, language: str) -> HttpResponse:
    """What is offered, and the place to accept it. An answer that was given stays."""
    with translation.override(language if language in LANGUAGES else LANGUAGES[0]):
        sent = _readable(token)
        row = _print(sent, language)
        form = AcceptForm(request.POST or None, choices=row.choices)

        def take() -> None:
            data = form.cleaned_data
            estimate_accept(option=data["option"], typed_name=data["typed_name"], **_common(request, sent, row))

        return _answered(request, token, row, form, take, accept_form=form)


@login_not_required
@never_cache
@require_POST
def declined(request: HttpRequest, token: str, language: str) -> HttpResponse:
    """No, with a reason or without."""
    with translation.override(language if language in LANGUAGES else LANGUAGES[0]):
        sent = _readable(token)
        row = _print(sent, language)
        form = DeclineForm(request.POST)

        def take() -> None:
            data = form.cleaned_data
            estimate_decline(reason=data["reason"], typed_name=data["declined_name"], **_common(request, sent, row))

        return _answered(request, token, row, form, take, decline_form=form)


def _common(request: HttpRequest, sent: SentEstimate, row: EstimatePrint) -> dict[str, Any]:
    return {
        "sent": sent,
        "language": row.language,
        "now": clock.now(),
        "today": today_here(),
        "by_link": True,
        "device": request.headers.get("User-Agent", ""),
    }


def _answered(
    request: HttpRequest, token: str, row: EstimatePrint, form: Any, take: Callable[[], None], **forms: Any
) -> HttpResponse:
    """Take the answer of a POST and come back to the page, or show the page with what was wrong."""
    status = 200
    if request.method == "POST":
        status = _taken(form, take)
        if status == 200:
            return redirect("estimates:shown", token=token, language=row.language)
    context = {
        "shown": row,
        "token": token,
        "answer": getattr(sent_get(pk=row.sent_id).estimate, "answer", None),
        "languages": [code for code in LANGUAGES if code != row.language],
        "accept_form": AcceptForm(choices=row.choices),
        "decline_form": DeclineForm(),
        **forms,
    }
    return render(request, "estimates/homeowner.html", context, status=status)


def _taken(form: Any, take: Callable[[], None]) -> int:
    if not form.is_valid():
        return 422
    try:
        take()
    except WalldayError as error:
        form.add_error(None, error.message)
        return error.status
    return 200


@login_not_required
@never_cache
@require_GET
def as_pdf(request: HttpRequest, token: str, language: str) -> HttpResponse:
    """The PDF as it was made."""
    return print_answer(_print(_readable(token), language))
