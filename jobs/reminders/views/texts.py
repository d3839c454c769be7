"""Texts that come in."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from jobs.reminders.forms import TextReadForm
from jobs.reminders.inbound import inbound_text_read, inbound_text_take
from jobs.reminders.selectors import inbound_text_get, inbound_texts
from shared import clock
from shared.api_kit.hooks import signed_hook
from shared.errors import WalldayError
from shared.people.roles import office_required

PER_PAGE = 50


@require_GET
@office_required
def texts(request: HttpRequest) -> HttpResponse:
    """Texts that came in; those that nobody has read stand first."""
    page = Paginator(inbound_texts(), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "reminders/texts.html", {"page": page})


@require_POST
@office_required
def text_read(request: HttpRequest, text_id: int) -> HttpResponse:
    """Somebody read it: put it away, or write down that the person wants no more."""
    text, form = inbound_text_get(pk=text_id), TextReadForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("The note is too long."))
        return redirect("reminders:texts")
    try:
        inbound_text_read(text=text, actor=request.user, now=clock.now(), **form.cleaned_data)
    except WalldayError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, _("Noted."))
    return redirect("reminders:texts")


@signed_hook
def text_hook(event: str, body: dict[str, Any]) -> None:
    """A text came in: `{"from": "+1...", "text": "..."}`."""
    inbound_text_take(event=event, sender=str(body.get("from", "")), body=str(body.get("text", "")), at=clock.now())
