"""One version of the rate card: to look at, to take along as a file, and to withdraw before it begins."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from pricing.catalogue.choices import CardState
from pricing.catalogue.domain.card_files import card_csv, card_json
from pricing.catalogue.forms import WithdrawForm
from pricing.catalogue.models import RateCard
from pricing.catalogue.selectors import (
    CardVersion,
    card_content,
    card_version_get,
    card_versions,
    draft_card,
    rate_card_on,
)
from pricing.catalogue.services import card_withdraw
from pricing.catalogue.sheet import card_sheet, card_tongue
from pricing.catalogue.wording import changes_words
from shared import clock
from shared.errors import NotFound, WalldayError
from shared.people.roles import office_required, owner_required
from shared.web.present import today_here


@require_GET
@office_required
def card(request: HttpRequest, card_id: int) -> HttpResponse:
    """What a version says, and what it says otherwise than the one in force."""
    version, today = _version_or_404(card_id), today_here()
    present, tongue = rate_card_on(on=today), card_tongue()
    before = card_content(card=present) if present else {}
    context = {
        "version": version,
        "sheet": card_sheet(version.card, tongue),
        "versions": card_versions(today=today),
        "present": present,
        "changes": changes_words(before, card_content(card=version.card), tongue),
        "has_draft": draft_card() is not None,
    }
    return render(request, "catalogue/card.html", context)


@require_http_methods(["GET", "POST"])
@owner_required
def withdraw(request: HttpRequest, card_id: int) -> HttpResponse:
    """Ask first; what may not be withdrawn comes back with the reason."""
    version = _version_or_404(card_id)
    form = WithdrawForm(request.POST or None, initial={"version": version.card.version})
    if request.method == "POST" and form.is_valid() and _is_withdrawn(request, version.card, form):
        messages.success(request, _("The card is withdrawn. It stays in the list."))
        return redirect("catalogue:rates")
    if request.method == "GET" and version.state != CardState.TO_COME:
        messages.error(request, _("Only a card that has not begun can be withdrawn."))
        return redirect("catalogue:card", version.card.pk)
    context = {"version": version, "form": form, "present": rate_card_on(on=today_here())}
    return render(request, "catalogue/withdraw.html", context, status=422 if form.errors else 200)


def _is_withdrawn(request: HttpRequest, row: RateCard, form: WithdrawForm) -> bool:
    data = form.cleaned_data
    try:
        card_withdraw(
            card=row, today=today_here(), now=clock.now(), expected_version=data["version"], reason=data["reason"],
            actor=request.user,
        )  # fmt: skip
    except WalldayError as error:
        form.add_error(None, error.message)
        return False
    return True


@require_GET
@office_required
def version_file(request: HttpRequest, card_id: int, kind: str) -> HttpResponse:
    """A version as CSV or JSON."""
    found = _version_or_404(card_id).card
    return card_file_answer(found, f"rate-card-{found.effective_from.isoformat()}", kind)


def card_file_answer(row: RateCard, name: str, kind: str) -> HttpResponse:
    """A card to save; imported unchanged it changes nothing."""
    content = card_content(card=row)
    answer: HttpResponse = JsonResponse(card_json(content))
    if kind == "csv":
        answer = HttpResponse(card_csv(content), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}.{kind}"'
    return answer


def _version_or_404(card_id: int) -> CardVersion:
    try:
        return card_version_get(pk=card_id, today=today_here())
    except NotFound as error:
        raise Http404 from error
