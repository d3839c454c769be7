from typing import Any

from django.contrib import messages as notes
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from shared import clock
from shared.api_kit.hooks import signed_hook
from shared.errors import Refused
from shared.events.selectors import event_list
from shared.outbox.channels import way_out
from shared.outbox.decisions import BY_CODE, THROWS, decisions_open, throw_open
from shared.outbox.delivery import blocked_address_open, delivery_report_take
from shared.outbox.domain.sms import sms_count
from shared.outbox.forms import LimitsForm, MessageFilter, ReasonForm, SwitchForm
from shared.outbox.models import BlockedAddress, Channel, Message, MessageState
from shared.outbox.selectors import (
    blocked_list,
    is_unknown,
    message_counts,
    message_list,
    sending_limits_get,
    sending_switch_get,
    unknown_list,
)
from shared.outbox.services import dispatch_soon, sending_limits_set, sending_switch_set
from shared.outbox.words import event_words
from shared.people.roles import office_required

PER_PAGE = 50


@require_GET
@office_required
def message_list_page(request: HttpRequest) -> HttpResponse:
    """All messages, those of unknown result on top, and the switch that stops everything."""
    form = MessageFilter(request.GET or None)
    wanted = form.cleaned_data if form.is_bound and form.is_valid() else {}
    switch = sending_switch_get()
    context = {
        "form": form,
        "page": Paginator(message_list(**wanted), PER_PAGE).get_page(request.GET.get("page")),
        "unknown": Paginator(unknown_list(now=clock.now()), PER_PAGE).get_page(1),
        "counts": message_counts(),
        "switch": switch,
        "throw": throw_open(switch.is_on),
        "limits_form": LimitsForm(instance=sending_limits_get()),
        "blocked_count": blocked_list().count(),
        "to_folder": {channel: way_out(channel) == "folder" for channel in Channel.values},
    }
    return render(request, "outbox/message_list.html", context)


@require_GET
@office_required
def message(request: HttpRequest, message_id: int) -> HttpResponse:
    """One message, word for word, with its history and what can be decided about it."""
    found, now = get_object_or_404(Message, pk=message_id), clock.now()
    context: dict[str, Any] = {
        "message": found,
        "is_unknown": is_unknown(found, now=now),
        "decisions": decisions_open(found, now=now),
        "events": [(event, event_words(event.kind)) for event in event_list(subject=found)],
        "reports": found.reports.all(),
        "sms": sms_count(found.body) if found.channel == Channel.TEXT else None,
        "reason_form": ReasonForm(),
    }
    return render(request, "outbox/message.html", context)


@require_POST
@office_required
def decide(request: HttpRequest, message_id: int) -> HttpResponse:
    """Take one of the decisions that are open for the message."""
    get_object_or_404(Message, pk=message_id)
    decision = BY_CODE.get(request.POST.get("decision", ""))
    if decision is None:
        raise Refused(_("Say what is decided about the message."))
    row = decision.take(
        message_id=message_id, reason=request.POST.get("reason", ""), actor=request.user, now=clock.now()
    )
    notes.success(request, str(decision.said))
    if row.state == MessageState.WAITING:
        dispatch_soon()
    return redirect("outbox:message", message_id)


@require_POST
@office_required
def switch(request: HttpRequest) -> HttpResponse:
    """Stop all sending at once, or allow it again."""
    form = SwitchForm(request.POST)
    if not form.is_valid():
        raise Refused(_("Say why, in a few words."))
    throw = THROWS[form.cleaned_data["throw"]]
    sending_switch_set(is_on=throw.is_on, reason=form.cleaned_data["reason"], actor=request.user, now=clock.now())
    notes.success(request, str(throw.said))
    return redirect("outbox:message_list")


@require_POST
@office_required
def send_waiting(request: HttpRequest) -> HttpResponse:
    """Start at once what the clock would start within a minute."""
    dispatch_soon()
    notes.info(request, _("Sending has started. Look again in a moment."))
    return redirect("outbox:message_list")


@require_POST
@office_required
def limits(request: HttpRequest) -> HttpResponse:
    """Change how fast messages leave, and how many a week go to one address."""
    form = LimitsForm(request.POST)
    if not form.is_valid():
        raise Refused(_("Each limit is a whole number, at least 1."))
    sending_limits_set(actor=request.user, **form.cleaned_data)
    notes.success(request, _("Saved."))
    return redirect("outbox:message_list")


@require_GET
@office_required
def blocked(request: HttpRequest) -> HttpResponse:
    """Addresses that nothing goes to any more."""
    page = Paginator(blocked_list(), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "outbox/blocked.html", {"page": page})


@require_POST
@office_required
def blocked_open(request: HttpRequest, blocked_id: int) -> HttpResponse:
    """Let messages go to an address again."""
    get_object_or_404(BlockedAddress, pk=blocked_id)
    reason = request.POST.get("reason", "")
    blocked_address_open(blocked_id=blocked_id, reason=reason, actor=request.user, now=clock.now())
    notes.success(request, _("Messages may go there again."))
    return redirect("outbox:blocked")


@signed_hook
def delivery_hook(event: str, body: dict[str, Any]) -> None:
    """A provider reports: `{"message": key or reference, "kind": "...", "detail": "..."}`."""
    delivery_report_take(
        event=event,
        message_key=str(body.get("message", "")),
        kind=str(body.get("kind", "")),
        detail=str(body.get("detail", "")),
        at=clock.now(),
    )
