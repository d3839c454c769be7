"""Changing, sending and closing one estimate."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from pricing.estimates import services
from pricing.estimates.errors import EstimateClosed
from pricing.estimates.forms import (
    ChangeForm,
    LineChangeFormSet,
    OptionChangeFormSet,
    SendForm,
    TakeBackForm,
    ToldForm,
    change_of,
)
from pricing.estimates.models import Estimate, SentEstimate
from pricing.estimates.selectors import estimate_get, sent_get
from pricing.estimates.views.pages import estimate_context
from shared import clock
from shared.errors import WalldayError
from shared.people.roles import office_required
from shared.web.present import today_here
from shared.web.refusals import words_instead_of_errors

_refusals_on_its_page = words_instead_of_errors("estimates:estimate_page", key="estimate_id")


def _again(request: HttpRequest, row: Estimate, **forms: Any) -> HttpResponse:
    return render(request, "estimates/estimate.html", estimate_context(row, **forms), status=422)


@require_POST
@office_required
def change(request: HttpRequest, estimate_id: int) -> HttpResponse:
    """Set other figures, with the reason; what is refused keeps what was typed."""
    row, form = estimate_get(pk=estimate_id), ChangeForm(request.POST, prefix="change")
    lines = LineChangeFormSet(request.POST, prefix="lines")
    options = OptionChangeFormSet(request.POST, prefix="options")
    if not all([form.is_valid(), lines.is_valid(), options.is_valid()]):
        return _again(request, row, change_form=form, line_forms=lines, option_forms=options)
    try:
        services.estimate_change(
            estimate=row,
            change=change_of(form, lines, options),
            reason=form.cleaned_data["reason"],
            today=today_here(),
            actor=request.user,
            expected_version=form.cleaned_data["version"],
        )
    except WalldayError as error:
        form.add_error(None, error.message)
        return _again(request, estimate_get(pk=estimate_id), change_form=form, line_forms=lines, option_forms=options)
    messages.success(request, _("The figures are set. Send the estimate for the homeowner to see them."))
    return redirect("estimates:estimate_page", estimate_id=estimate_id)


@require_POST
@office_required
@_refusals_on_its_page
def send(request: HttpRequest, estimate_id: int) -> HttpResponse:
    """Freeze it and give it out."""
    row, form = estimate_get(pk=estimate_id), SendForm(request.POST)
    if not form.is_valid():
        return _again(request, row, send_form=form)
    services.estimate_send(
        estimate=row,
        sent_how=form.cleaned_data["sent_how"],
        now=clock.now(),
        today=today_here(),
        actor=request.user,
        expected_version=form.cleaned_data["version"],
    )
    messages.success(request, _("The estimate is given out."))
    return redirect("estimates:estimate_page", estimate_id=estimate_id)


@require_POST
@office_required
@_refusals_on_its_page
def take_back(request: HttpRequest, estimate_id: int) -> HttpResponse:
    """Close it without an answer."""
    row, form = estimate_get(pk=estimate_id), TakeBackForm(request.POST, prefix="back")
    if not form.is_valid():
        return _again(request, row, take_back_form=form)
    services.estimate_take_back(
        estimate=row,
        reason=form.cleaned_data["reason"],
        actor=request.user,
        expected_version=form.cleaned_data["version"],
    )
    messages.success(request, _("The estimate is taken back."))
    return redirect("estimates:estimate_page", estimate_id=estimate_id)


@require_POST
@office_required
@_refusals_on_its_page
def told(request: HttpRequest, estimate_id: int) -> HttpResponse:
    """Write down an answer that was given by telephone or at the door."""
    row = estimate_get(pk=estimate_id)
    sent = _newest(row)
    choices = sent.prints.get(language="en").choices
    form = ToldForm(request.POST, prefix="told", choices=choices)
    if not form.is_valid():
        return _again(request, row, told_form=form)
    common = {
        "sent": sent,
        "language": row.language,
        "typed_name": form.cleaned_data["typed_name"],
        "now": clock.now(),
        "today": today_here(),
        "by_link": False,
        "actor": request.user,
    }
    if form.cleaned_data["answer"] == "no":
        services.estimate_decline(reason=form.cleaned_data["reason"], **common)
    else:
        services.estimate_accept(option=int(form.cleaned_data["answer"]), **common)
    messages.success(request, _("The answer is written down."))
    return redirect("estimates:estimate_page", estimate_id=estimate_id)


def _newest(row: Estimate) -> SentEstimate:
    """Raises EstimateClosed where it was never given out."""
    newest = row.sendings.first()
    if newest is None:
        raise EstimateClosed(_("Nobody has seen this estimate yet. Send it first."))
    return sent_get(pk=newest.pk)
