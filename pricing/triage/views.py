from collections import Counter
from collections.abc import Sequence
from datetime import date
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from jobs.work.services import job_decline
from pricing.triage.choices import Choice
from pricing.triage.domain.closing import band_of
from pricing.triage.domain.leads import Advice, Judged
from pricing.triage.forms import DecideForm
from pricing.triage.selectors import close_rate_bands, decision_list, newest_decisions
from pricing.triage.services import lead_decide
from pricing.triage.wording import advice_words, band_words, days_words, why_words
from routing.plans.models import Yard
from routing.plans.selectors.leads import Triage, lead_triage
from shared import clock
from shared.errors import NotFound, WalldayError
from shared.people.roles import office_required
from shared.web.present import company_now

RECENT_DECISIONS = 12


@require_GET
@office_required
def leads(request: HttpRequest) -> HttpResponse:
    """Every lead with its advice, the hours of the coming days, and how often people said yes at which price."""
    yard = _yard(request.GET.get("yard", ""))
    if yard is None:
        return render(request, "triage/leads.html", {"yard": None})
    found, currency = lead_triage(yard=yard, today=today_of(yard)), company_now().currency
    decided, bands = newest_decisions(job_refs=found.jobs), close_rate_bands()
    context = {
        "yard": yard,
        "yards": Yard.objects.all(),
        "triage": found,
        "rows": [_row(row, found, currency, decided, bands) for row in found.judged],
        "heads": _heads(found.judged),
        "bands": [(band_words(band), band) for band in bands],
        "choices": Choice.choices,
        "recent": decision_list()[:RECENT_DECISIONS],
    }
    return render(request, "triage/leads.html", context)


def _heads(judged: Sequence[Judged]) -> list[tuple[str, int, int]]:
    """Each advice that is given, how often, and the first lead that gets it."""
    first: dict[str, int] = {}
    for row in judged:
        first.setdefault(row.advice, row.lead.job_id)
    counts = Counter(row.advice for row in judged)
    return [(str(Choice(advice).label), counts[Advice(advice)], job) for advice, job in first.items()]


def _row(row: Judged, found: Triage, currency: str, decided: Any, bands: Any) -> dict[str, Any]:
    lead = row.lead
    return {
        "judged": row,
        "job": found.jobs[lead.job_id],
        "advice": advice_words(row, currency),
        "why": why_words(row, currency),
        "days": days_words(row),
        "decision": decided.get(lead.job_id),
        "band": band_of(row.ask_cents or lead.price_cents, lead.card_price_cents or 0, bands),
        "ask": f"{(row.ask_cents or lead.price_cents) / 100:.2f}",
    }


@require_POST
@office_required
def decide(request: HttpRequest, job_id: int) -> HttpResponse:
    """Keep what a person decided; declining takes the lead out of the queue with the reason."""
    form, yard = DecideForm(request.POST), _yard(request.POST.get("yard", ""))
    if yard is None or not form.is_valid():
        messages.error(request, _("Say what to do and at which price."))
        return redirect("triage:leads")
    try:
        decision_make(job_id=job_id, yard=yard, actor=request.user, **form.cleaned_data)
        messages.success(request, _("Decided, and kept."))
    except WalldayError as error:
        messages.error(request, error.message)
    return redirect("triage:leads")


@transaction.atomic
def decision_make(*, job_id: int, yard: Yard, choice: str, price_cents: int, reason: str, actor: Any) -> Any:
    """Decide by hand or by program. Raises NotFound for a job that is no lead, Refused, StepRefused."""
    found = lead_triage(yard=yard, today=today_of(yard))
    judged = next((row for row in found.judged if row.lead.job_id == job_id), None)
    if judged is None:
        raise NotFound(_("This job is no lead that waits for an answer."))
    row = lead_decide(
        judged=judged, choice=choice, price_cents=price_cents, now=clock.now(), reason=reason, actor=actor
    )
    if choice == Choice.DECLINE:
        job_decline(job=found.jobs[job_id], reason=reason, actor=actor)
    return row


def today_of(yard: Yard) -> date:
    """The date at the yard."""
    return clock.local_date(yard.timezone, clock.now())


def _yard(code: str) -> Yard | None:
    return Yard.objects.filter(code=code).first() or Yard.objects.order_by("code").first()
