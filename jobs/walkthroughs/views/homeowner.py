"""The homeowner's page: a signed link, no account. Looking changes nothing; the typed name does, once."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods

from jobs.walkthroughs.forms import AcknowledgeForm
from jobs.walkthroughs.links import notice_of
from jobs.walkthroughs.models import Notice, NoticePrint
from jobs.walkthroughs.selectors.removal import asks_about_removal
from jobs.walkthroughs.services import notice_acknowledge
from jobs.walkthroughs.services.notices import LANGUAGES
from jobs.walkthroughs.views.access import notice_get, photo_of
from jobs.walkthroughs.views.files import picture_answer, print_answer, record_answer
from shared import clock
from shared.errors import NotFound, WalldayError


@login_not_required
@never_cache
@require_GET
def notice_open(request: HttpRequest, token: str) -> HttpResponse:
    """To the page in the customer's own language."""
    row = notice_get(pk=notice_of(token))
    return redirect("walkthroughs:notice", token=token, language=row.walkthrough.property.customer.language)


@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def notice(request: HttpRequest, token: str, language: str) -> HttpResponse:
    """What was found, and the place for the name. An answer that was given stays."""
    row = notice_get(pk=notice_of(token))
    shown = _print(row, language)
    with translation.override(shown.language):
        form = AcknowledgeForm(request.POST or None, initial={"language": shown.language})
        status = 200
        if request.method == "POST":
            status = _answer(request, row, form)
            if status == 200:
                return redirect("walkthroughs:notice", token=token, language=shown.language)
        context = {
            "notice": row,
            "shown": shown,
            "token": token,
            "form": form,
            "answer": getattr(notice_get(pk=row.pk), "acknowledgement", None),
            "asks_removal": asks_about_removal(row.walkthrough),
            "languages": [code for code in LANGUAGES if code != shown.language],
        }
        return render(request, "walkthroughs/notice.html", context, status=status)


def _answer(request: HttpRequest, row: Notice, form: AcknowledgeForm) -> int:
    if not form.is_valid():
        return 422
    device = request.headers.get("User-Agent", "")
    try:
        notice_acknowledge(notice=row, now=clock.now(), by_link=True, device=device, **form.cleaned_data)
    except WalldayError as error:
        form.add_error(None, error.message)
        return error.status
    return 200


def _print(row: Notice, language: str) -> NoticePrint:
    shown = row.prints.filter(language=language).first()
    if shown is None:
        raise NotFound(_("There is no such language."))
    return shown


@login_not_required
@never_cache
@require_GET
def picture(request: HttpRequest, token: str, language: str, digest: str) -> HttpResponse:
    """A picture of this notice."""
    return picture_answer(photo_of(notice=notice_get(pk=notice_of(token)), digest=digest))


@login_not_required
@never_cache
@require_GET
def as_pdf(request: HttpRequest, token: str, language: str) -> HttpResponse:
    """The PDF as it was made."""
    return print_answer(_print(notice_get(pk=notice_of(token)), language))


@login_not_required
@never_cache
@require_GET
def record(request: HttpRequest, token: str, language: str) -> HttpResponse:
    """The record of the acknowledgement as it was made."""
    return record_answer(notice_get(pk=notice_of(token)))
