"""What was sent, for the office: page and PDF as they were made."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from pricing.estimates.models import EstimatePrint
from pricing.estimates.services import print_pdf
from shared.errors import NotFound
from shared.people.roles import office_required
from shared.web.answers import pdf_answer, private


def print_answer(row: EstimatePrint) -> HttpResponse:
    """The PDF as it was made."""
    return private(pdf_answer(print_pdf(row), name=f"estimate-{row.sent.estimate_id}-{row.sent.revision}"))


def _print(estimate_id: int, revision: int, language: str) -> EstimatePrint:
    rows = EstimatePrint.objects.select_related("sent__estimate")
    row = rows.filter(sent__estimate=estimate_id, sent__revision=revision, language=language).first()
    if row is None:
        raise NotFound(_("There is no such estimate."))
    return row


@require_GET
@office_required
def sent(request: HttpRequest, estimate_id: int, revision: int, language: str) -> HttpResponse:
    """The text that the homeowner sees."""
    return render(request, "estimates/sent.html", {"shown": _print(estimate_id, revision, language)})


@require_GET
@office_required
def sent_pdf(request: HttpRequest, estimate_id: int, revision: int, language: str) -> HttpResponse:
    return print_answer(_print(estimate_id, revision, language))
