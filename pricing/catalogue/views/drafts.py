"""The next rate card: its draft, what it would change, its files, its first day."""

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from pricing.catalogue.card_imports import card_import
from pricing.catalogue.domain.card_files import UnreadableCard
from pricing.catalogue.forms import PARTS, CardFileForm, CardPart, InForceForm
from pricing.catalogue.forms.parts import RowSet
from pricing.catalogue.models import RateCard
from pricing.catalogue.selectors import card_content, draft_card, rate_card_on
from pricing.catalogue.services import draft_begin, draft_drop, draft_put_in_force, draft_set
from pricing.catalogue.sheet import card_tongue
from pricing.catalogue.views.cards import card_file_answer
from pricing.catalogue.wording import CardTongue, changes_words
from pricing.estimates.preview_words import past_summary, past_words, preview_summary, row_change_words
from pricing.estimates.views.previewing import card_preview, past_year
from shared.errors import WalldayError
from shared.people.roles import office_required, owner_required
from shared.web.present import today_here

SAID_AT_ONCE = 4  # changes that are said in full


@require_GET
@owner_required
def draft(request: HttpRequest) -> HttpResponse:
    """The draft with its differences and its preview, or the way to begin one."""
    return _page(request)


@require_POST
@owner_required
def begin(request: HttpRequest) -> HttpResponse:
    """As a copy of the card in force, or of the version that is named."""
    source = RateCard.objects.filter(pk=_number(request, "source"), is_draft=False).first()
    try:
        draft_begin(today=today_here(), source=source, actor=request.user)
    except WalldayError as error:
        messages.error(request, error.message)
        return redirect("catalogue:rates")
    return redirect("catalogue:draft")


@require_http_methods(["GET", "POST"])
@owner_required
def part(request: HttpRequest, slug: str) -> HttpResponse:
    """One part of the draft as forms; what is wrong comes back by its field, with all that was typed."""
    found, card, tongue = _part_or_404(slug), _draft_or_404(), card_tongue()
    content = card_content(card=card)
    if request.method == "GET":
        return _part_page(request, found, card, found.sets(content, tongue))
    sets = found.sets(content, tongue, request.POST)
    read = found.read(sets, content, tongue.names)
    if read.content is None:
        return _part_page(request, found, card, sets, read.problems, status=422)
    try:
        draft_set(
            draft=card, content=read.content, expected_version=_number(request, "version"), actor=request.user
        )  # fmt: skip
    except WalldayError as error:
        return _part_page(request, found, card, sets, [error.message], status=error.status)
    _say_changes(request, changes_words(content, read.content, tongue))
    return redirect("catalogue:draft_part", slug)


def _part_or_404(slug: str) -> CardPart:
    if slug not in PARTS:
        raise Http404
    return PARTS[slug]


def _part_page(
    request: HttpRequest, found: CardPart, card: RateCard, sets: Sequence[RowSet], problems: Sequence[str] = (), *,
    status: int = 200,
) -> HttpResponse:  # fmt: skip
    context = {"draft": card, "part": found, "parts": PARTS.values(), "sets": sets, "problems": problems}
    return render(request, "catalogue/draft_part.html", context, status=status)


def _say_changes(request: HttpRequest, changes: Sequence[str]) -> None:
    """The first few in full."""
    if not changes:
        messages.info(request, _("Nothing is different from before."))
        return
    shown, more = changes[:SAID_AT_ONCE], len(changes) - SAID_AT_ONCE
    rest = [_("and %(count)s more") % {"count": more}] if more > 0 else []
    messages.success(request, _("Saved. %(changes)s.") % {"changes": "; ".join([*shown, *rest])})


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
        changes = [] if found.faults else changes_words(card_content(card=card), found.content, card_tongue())
        return _page(request, status=422 if found.faults else 200, file_form=form, found=found, file_changes=changes)
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
        draft_drop(draft=card, expected_version=_number(request, "version"), actor=request.user)
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
    return card_file_answer(card, f"rate-card-{which}", kind)


def _draft_or_404() -> RateCard:
    card = draft_card()
    if card is None:
        raise Http404
    return card


def _number(request: HttpRequest, name: str) -> int:
    """A whole number that was posted; 0 for anything else."""
    text = request.POST.get(name, "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 9 else 0


def _set(request: HttpRequest, card: RateCard, content: Any) -> HttpResponse:
    try:
        found = draft_set(
            draft=card,
            content=content,
            expected_version=_number(request, "version"),
            actor=request.user,
        )
    except WalldayError as error:
        messages.error(request, error.message)
        return _page(request, status=error.status)
    messages.success(request, _("Figures changed: %(count)s.") % {"count": len(found)})
    return redirect("catalogue:draft")


def _page(request: HttpRequest, *, status: int = 200, **over: Any) -> HttpResponse:
    card, today = draft_card(), today_here()
    if card is None:
        return render(request, "catalogue/draft.html", {"draft": None}, status=status)
    content, present, tongue = card_content(card=card), rate_card_on(on=today), card_tongue()
    context = {
        "draft": card,
        "parts": PARTS.values(),
        "present": present,
        "changes": changes_words(card_content(card=present) if present else {}, content, tongue),
        "file_form": CardFileForm(initial={"dry_run": True}),
        "force_form": InForceForm(initial={"effective_from": today, "version": card.version}),
        **_preview_context(card, tongue),
        **over,
    }
    return render(request, "catalogue/draft.html", context, status=status)


def _preview_context(card: RateCard, tongue: CardTongue) -> dict[str, Any]:
    """What waits and what was done, by both cards, in figures and in words."""
    waiting, past, currency = card_preview(draft=card), past_year(draft=card), tongue.currency
    return {
        "waiting_changed": [(row, row_change_words(row, currency)) for row in waiting if row.price_change_cents],
        "waiting_same": [(row, row_change_words(row, currency)) for row in waiting if not row.price_change_cents],
        "waiting_summary": preview_summary(waiting, currency),
        "past": [(tongue.name(each.service_code), each, past_words(each, currency)) for each in past],
        "past_summary": past_summary(past, currency),
    }
