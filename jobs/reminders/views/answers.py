"""The homeowner's answer, and what the office does with answers."""

from collections.abc import Collection
from datetime import date
from functools import partial
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from jobs.customers.models import Customer
from jobs.reminders.answers import (
    Offer,
    answer_settings_get,
    answer_settings_set,
    answer_take,
    due_hold_end,
    offer_get,
    written_by,
)
from jobs.reminders.domain.answers import ASK_AGAIN_MONTHS, days_to_offer
from jobs.reminders.forms import AnswerForm, AnswerSettingsForm
from jobs.reminders.links import answer_sender, answer_target, opt_out_token, shown_days, shown_days_sign
from jobs.reminders.selectors import answer_list, hold_list
from routing.plans.selectors.near import days_near
from shared import clock
from shared.errors import WalldayError
from shared.people.roles import office_required, owner_required
from shared.web.present import today_here

PER_PAGE = 50


@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def answer(request: HttpRequest, token: str) -> HttpResponse:
    """The homeowner's page of a reminder. Looking at it changes nothing; the form answers, once."""
    with translation.override(_language_of(token)):
        return _answer(request, token)


def _answer(request: HttpRequest, token: str) -> HttpResponse:
    today, stop_path = today_here(), _stop_path(token)
    try:
        customer_id, written_on = answer_target(token, today=today)
        offer = offer_get(customer_id=customer_id, written_on=written_on)
    except WalldayError as error:
        over = {"words": error.message, "stop_path": stop_path}
        return render(request, "reminders/answer_over.html", over, status=error.status)
    form = AnswerForm(request.POST or None)
    shown = shown_days(token, request.POST.get("shown", ""))
    status, problem = _answered(form, offer, today, shown) if request.method == "POST" else (200, "")
    offer = offer_get(customer_id=customer_id, written_on=written_on)
    context = {"form": form, "problem": problem, "stop_path": stop_path, **_offered(offer, today)}
    context["shown"] = shown_days_sign(token, [day.work_date for day in context["days"]])
    return render(request, "reminders/answer.html", context, status=status)


def _language_of(token: str) -> str:
    """The customer's own, also where the answer's time is over; the browser's for a link that was altered."""
    try:
        customer_id, _day = answer_sender(token)
    except WalldayError:
        return translation.get_language() or settings.LANGUAGE_CODE
    return Customer.objects.values_list("language", flat=True).get(pk=customer_id)


def _offered(offer: Offer, today: date) -> dict[str, Any]:
    """What the page shows of an offer: no days where it is answered."""
    days = [] if offer.answer else days_near(place=offer.places[0], today=today)
    return {
        "offer": offer,
        "days": days_to_offer(days, needed_minutes=offer.minutes),
        "months": ASK_AGAIN_MONTHS,
        "some_unpriced": any(thing.line is None for thing in offer.things),
    }


def _free_days(offer: Offer, today: date, shown: Collection[date]) -> list[date]:
    """The days that are offered now, and those that the page offered when it was opened, as long as there is room."""
    near = days_near(place=offer.places[0], today=today)
    offered = {*shown, *(day.work_date for day in days_to_offer(near, needed_minutes=offer.minutes))}
    return [day.work_date for day in near if day.free_minutes >= offer.minutes and day.work_date in offered]


def _stop_path(token: str) -> str:
    """Where the person stops our messages: it works however old the answer's link is, and for no altered one."""
    try:
        customer_id, written_on = answer_sender(token)
    except WalldayError:
        return ""
    channel = written_by(customer_id=customer_id, written_on=written_on)
    return reverse("reminders:opt_out", args=[opt_out_token(customer_id, channel)])


def _answered(form: AnswerForm, offer: Offer, today: date, shown: Collection[date]) -> tuple[int, str]:
    """Take the answer; the status and what to say where it could not be taken."""
    if not form.is_valid():
        return 422, str(form.problem)
    try:
        free_days = partial(_free_days, offer, today, shown)
        answer_take(offer=offer, answer=form.answer, free_days=free_days, now=clock.now())
    except WalldayError as error:
        return error.status, error.message
    return 200, ""


@require_GET
@office_required
def answers(request: HttpRequest) -> HttpResponse:
    """What homeowners answered, newest first, and what a yes becomes."""
    page = Paginator(answer_list(), PER_PAGE).get_page(request.GET.get("page"))
    form = AnswerSettingsForm(instance=answer_settings_get())
    return render(request, "reminders/answers.html", {"page": page, "form": form, "holds": hold_list()[:PER_PAGE]})


@require_POST
@owner_required
def answer_settings(request: HttpRequest) -> HttpResponse:
    """What a yes becomes."""
    form = AnswerSettingsForm(request.POST)
    if form.is_valid():
        answer_settings_set(makes=form.cleaned_data["makes"], actor=request.user)
        messages.success(request, _("Saved."))
    return redirect("reminders:answers")


@require_POST
@office_required
def hold_end(request: HttpRequest, hold_id: int) -> HttpResponse:
    """Let a property be reminded again."""
    due_hold_end(hold_id=hold_id, actor=request.user)
    messages.success(request, _("Noted."))
    return redirect("reminders:answers")
