from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from pricing.catalogue.forms import TargetForm, TaxForm
from pricing.catalogue.selectors import card_versions, rate_card_on, target_list, tax_list, tax_on
from pricing.catalogue.services import catalogue_defaults, target_set, tax_set
from pricing.catalogue.sheet import card_sheet, card_tongue
from shared.errors import Refused
from shared.people.roles import office_required, owner_required
from shared.web.present import today_here


@require_GET
@office_required
def rates(request: HttpRequest) -> HttpResponse:
    """The rate card in force, the hourly target and its history; the owner can set a new target."""
    return _page(request, _target_form())


@require_POST
@owner_required
def target_new(request: HttpRequest) -> HttpResponse:
    """Set a target from a day on, or show the form again with what is wrong."""
    form = TargetForm(request.POST)
    if not form.is_valid():
        return _page(request, form, status=422)
    try:
        target_set(
            effective_from=form.cleaned_data["effective_from"],
            target_cents=form.target_cents,
            reserve_cents=form.reserve_cents,
            today=today_here(),
            actor=request.user,
        )
    except Refused as error:
        form.add_error("effective_from", error.message)
        return _page(request, form, status=422)
    messages.success(request, _("The new target is set."))
    return redirect("catalogue:rates")


@require_POST
@owner_required
def tax_new(request: HttpRequest) -> HttpResponse:
    """Enter a tax from a day on, or show the form again with what is wrong."""
    form = TaxForm(request.POST)
    if not form.is_valid():
        return _page(request, _target_form(), tax_form=form, status=422)
    try:
        tax_set(**form.cleaned_data, today=today_here(), actor=request.user)
    except Refused as error:
        form.add_error(None, error.message)
        return _page(request, _target_form(), tax_form=form, status=422)
    messages.success(request, _("The tax is set. Estimates made from that day on begin with it."))
    return redirect("catalogue:rates")


@require_POST
@owner_required
def start_card(request: HttpRequest) -> HttpResponse:
    """Give a company without a rate card the common starting values."""
    catalogue_defaults(on=today_here(), actor=request.user)
    messages.success(request, _("The starting values are in. Replace them by your own figures."))
    return redirect("catalogue:rates")


def _target_form() -> TargetForm:
    return TargetForm(initial={"effective_from": today_here()})


def _page(
    request: HttpRequest, form: TargetForm, *, tax_form: TaxForm | None = None, status: int = 200
) -> HttpResponse:
    today = today_here()
    targets, card = list(target_list()), rate_card_on(on=today)
    context: dict[str, Any] = {
        "form": form,
        "tax_form": tax_form or TaxForm(initial={"effective_from": today}),
        "taxes": list(tax_list()),
        "tax": tax_on(on=today),
        "card": card,
        "sheet": card_sheet(card, card_tongue()) if card else None,
        "versions": card_versions(today=today),
        "targets": targets,
        "target": next((row for row in targets if row.effective_from <= today), None),
        "today": today,
    }
    return render(request, "catalogue/rates.html", context, status=status)
