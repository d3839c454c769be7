"""The due list, what each person would get, and queueing it."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from jobs.reminders.domain.due import CHALK
from jobs.reminders.drafting import MOST_AT_ONCE, skipped_words
from jobs.reminders.forms import DueFilter
from jobs.reminders.listing import DueSheet
from jobs.reminders.marks import marks_of
from jobs.reminders.rules import RULES
from jobs.reminders.selectors import inbound_texts
from jobs.reminders.services import reminder_preview, reminders_queue
from pricing.catalogue.models import Service
from shared import clock
from shared.outbox.channels import way_out
from shared.outbox.models import Channel
from shared.outbox.selectors import sending_switch_get
from shared.people.roles import office_required
from shared.web.present import today_here

PER_PAGE = 50
MOST_SAID = 5


@require_GET
@office_required
def due_page(request: HttpRequest) -> HttpResponse:
    """Who is due and why, and whether they may be written to now."""
    form, sheet = _shown(request.GET)
    page = Paginator(sheet, PER_PAGE).get_page(request.GET.get("page"))
    lines = list(page.object_list)
    context = {
        "form": form,
        "page": page,
        "lines": list(enumerate(lines, page.start_index())),
        "marks": marks_of(lines, first=page.start_index()),
        "without_place": sum(item.place is None for item in lines),
        "sheet": sheet,
        "most": MOST_AT_ONCE,
        "unread_texts": inbound_texts(unread_only=True).count(),
        "today": today_here(),
    }
    return render(request, "reminders/due.html", context)


@require_POST
@office_required
def preview(request: HttpRequest) -> HttpResponse:
    """Exactly what each person would get, before anything is queued."""
    keys = _all_ready(request.POST) if "all" in request.POST else request.POST.getlist("key")
    if not keys:
        messages.warning(request, _("Choose at least one line first."))
        return redirect("reminders:due_list")
    found = reminder_preview(keys=keys, now=clock.now())
    good = [draft for draft in found.drafts if not draft.refusals]
    context = {
        "found": found,
        "left_out": skipped_words(found.skipped),
        "good": len(good),
        "good_keys": " ".join(item.key for draft in (*good, *found.held_back) for item in draft.items),
        "switch": sending_switch_get(),
        "to_folder": {channel: way_out(channel) == "folder" for channel in Channel.values},
    }
    return render(request, "reminders/preview.html", context)


@require_POST
@office_required
def queue(request: HttpRequest) -> HttpResponse:
    """Queue what was seen in the preview, but for those who are held back."""
    keys, hold_back = request.POST.get("keys", "").split(), "everyone" not in request.POST
    result = reminders_queue(keys=keys, actor=request.user, now=clock.now(), hold_back=hold_back)
    count = len(result.message_ids)
    if count:
        said = ngettext("%(count)s message is queued.", "%(count)s messages are queued.", count)
        messages.success(request, said % {"count": count})
    if result.held_back:
        said = ngettext("%(count)s customer is held back.", "%(count)s customers are held back.", result.held_back)
        messages.info(request, said % {"count": result.held_back})
    for words in skipped_words(result.skipped)[:MOST_SAID]:
        messages.warning(request, _("Left out: %(why)s") % {"why": words})
    return redirect("outbox:message_list" if count else "reminders:due_list")


@require_GET
@office_required
def rules(request: HttpRequest) -> HttpResponse:
    """Law and manners, with their sources and the day on which they were checked."""
    return render(request, "reminders/rules.html", {"rules": RULES})


def _shown(query: Any) -> tuple[DueFilter, DueSheet]:
    """The filter, and what it leaves of everything due."""
    form = DueFilter(query or None, kinds=_kinds())
    return form, DueSheet(today=today_here(), lead_days=form.lead, wish=form.wish)


def _all_ready(query: Any) -> list[str]:
    """The keys of what the filter leaves and may be reminded: the earliest of them, where there are too many."""
    return _shown(query)[1].ready_keys(most=MOST_AT_ONCE)


def _kinds() -> list[tuple[str, str]]:
    services = Service.objects.filter(is_offered=True, interval_months__isnull=False)
    return [(CHALK, _("chalk, read or expected")), *services.values_list("code", "name")]
