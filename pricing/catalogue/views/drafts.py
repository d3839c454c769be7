"""The next rate card: its draft, what it would change, its files, its first day."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from pricing.catalogue.card_imports import card_import
from pricing.catalogue.domain.card_files import UnreadableCard, card_csv, card_json
from pricing.catalogue.domain.card_rows import differences, key_of
from pricing.catalogue.forms import CardFileForm, InForceForm, RateFormSet
from pricing.catalogue.models import RateCard
from pricing.catalogue.selectors import card_content, draft_card, rate_card_on
from pricing.catalogue.services import draft_begin, draft_drop, draft_put_in_force, draft_set
from pricing.estimates.views.previewing import card_preview
from shared.errors import WalldayError
from shared.people.roles import office_required, owner_required
from shared.web.present import today_here


@require_GET
@owner_required
def draft(request: HttpRequest) -> HttpResponse:
    """The draft with its differences and its preview, or the way to begin one."""
    return _page(request)


@require_POST
@owner_required
def begin(request: HttpRequest) -> HttpResponse:
    try:
        draft_begin(today=today_here(), actor=request.user)
    except WalldayError as error:
        messages.error(request, error.message)
        return redirect("catalogue:rates")
    return redirect("catalogue:draft")


@require_POST
@owner_required
def change(request: HttpRequest) -> HttpResponse:
    """Other figures of the services."""
    card = _draft_or_404()
    forms = RateFormSet(request.POST, prefix="rates")
    if not forms.is_valid():
        return _page(request, status=422, rate_forms=forms)
    changed = [{"part": "rate", **form.cleaned_data} for form in forms]
    known = card_content(card=card)
    content = known | {key_of(row): row for row in changed if key_of(row) in known}
    return _set(request, card, content)


@require_POST
@owner_required
def import_file(request: HttpRequest) -> HttpResponse:
    """A card's file: what it would do, or, if asked, done."""
    card = _draft_or_404()
    form = CardFileForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, status=422, file_form=form)
    try:
        found = card_import(data=form.cleaned_data["file"].read(), card=card)
    except UnreadableCard as error:
        form.add_error("file", str(error))
        return _page(request, status=422, file_form=form)
    if found.faults or form.cleaned_data["dry_run"]:
        return _page(request, status=422 if found.faults else 200, file_form=form, found=found)
    return _set(request, card, found.content)


@require_POST
@owner_required
def in_force(request: HttpRequest) -> HttpResponse:
    card, form = _draft_or_404(), InForceForm(request.POST)
    if not form.is_valid():
        return _page(request, status=422, force_form=form)
    data = form.cleaned_data
    try:
        draft_put_in_force(
            draft=card, effective_from=data["effective_from"], note=data["note"], today=today_here(),
            expected_version=data["version"], actor=request.user,
        )  # fmt: skip
    except WalldayError as error:
        form.add_error(None, error.message)
        return _page(request, status=error.status, force_form=form)
    messages.success(request, _("The card is set. Estimates that were made keep their figures."))
    return redirect("catalogue:rates")


@require_POST
@owner_required
def drop(request: HttpRequest) -> HttpResponse:
    card = _draft_or_404()
    try:
        draft_drop(draft=card, expected_version=_version(request), actor=request.user)
    except WalldayError as error:
        messages.error(request, error.message)
        return redirect("catalogue:draft")
    messages.success(request, _("The draft is thrown away."))
    return redirect("catalogue:rates")


@require_GET
@office_required
def card_file(request: HttpRequest, which: str, kind: str) -> HttpResponse:
    """The card in force or the draft as CSV or JSON; imported unchanged it changes nothing."""
    card = rate_card_on(on=today_here()) if which == "in-force" else draft_card()
    if card is None:
        raise Http404
    content = card_content(card=card)
    answer: HttpResponse = JsonResponse(card_json(content))
    if kind == "csv":
        answer = HttpResponse(card_csv(content), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="rate-card-{which}.{kind}"'
    return answer


def _draft_or_404() -> RateCard:
    card = draft_card()
    if card is None:
        raise Http404
    return card


def _version(request: HttpRequest) -> int:
    text = request.POST.get("version", "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 9 else 0


def _set(request: HttpRequest, card: RateCard, content: Any) -> HttpResponse:
    try:
        found = draft_set(draft=card, content=content, expected_version=_version(request), actor=request.user)
    except WalldayError as error:
        messages.error(request, error.message)
        return _page(request, status=error.status)
    messages.success(request, _("Figures changed: %(count)s.") % {"count": len(found)})
    return redirect("catalogue:draft")


def _page(request: HttpRequest, *, status: int = 200, **over: Any) -> HttpResponse:
    card, today = draft_card(), today_here()
    if card is None:
        return render(request, "catalogue/draft.html", {"draft": None}, status=status)
    content, present = card_content(card=card), rate_card_on(on=today)
    rates = [row for row in content.values() if row["part"] == "rate"]
    context = {
        "draft": card,
        "present": present,
        "differences": differences(card_content(card=present) if present else {}, content),
        "others": [row for row in content.values() if row["part"] != "rate"],
        "preview": card_preview(draft=card),
        "rate_forms": RateFormSet(initial=rates, prefix="rates"),
        "file_form": CardFileForm(initial={"dry_run": True}),
        "force_form": InForceForm(initial={"effective_from": today, "version": card.version}),
        **over,
    }
    return render(request, "catalogue/draft.html", context, status=status)
