from collections import Counter
from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from pricing.catalogue.models import Service
from pricing.catalogue.selectors import NoTargetYet
from pricing.earnings.domain.report import EarningsReport, GroupEarnings
from pricing.earnings.domain.verdict import FAMILY_ERROR, MINIMUM_JOBS, Verdict
from pricing.earnings.exporting import report_csv
from pricing.earnings.forms import ReportForm
from pricing.earnings.selectors import earnings_report
from pricing.earnings.split_chart import split_chart
from pricing.earnings.wording import (
    breakdown_word,
    cause_words,
    choices_of,
    crew_hours_words,
    decision_words,
    interval_words,
    short_sentence,
    verdict_word,
    why_sentence,
)
from shared import clock
from shared.people.roles import office_required
from shared.web.present import company_now

TEMPLATE = "earnings/report.html"


@require_GET
@office_required
def report(request: HttpRequest) -> HttpResponse:
    """What a crew-hour earned by the chosen breakdown; margins and wages for the owner only."""
    company = company_now()
    today = clock.local_date(company.timezone, clock.now())
    form = _form(request)
    context: dict[str, Any] = {"form": form, "periods": _periods(request, today)}
    if not form.is_valid():
        return render(request, TEMPLATE, context, status=400)
    try:
        found = earnings_report(**form.question(today))
    except NoTargetYet as error:
        return render(request, TEMPLATE, context | {"no_target": error.message})
    return render(request, TEMPLATE, context | _report_context(found, company.currency))


@require_GET
@office_required
def report_file(request: HttpRequest) -> HttpResponse:
    """The same as a file for a spreadsheet; without wages and margins for the office."""
    today = clock.local_date(company_now().timezone, clock.now())
    form = _form(request)
    if not form.is_valid():
        return render(request, TEMPLATE, {"form": form, "periods": _periods(request, today)}, status=400)
    found = earnings_report(**form.question(today))
    text = report_csv(found, with_margin=getattr(request.user, "is_owner", False))
    response = HttpResponse(text, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="earnings-by-{found.by}-{found.until}.csv"'
    return response


def _form(request: HttpRequest) -> ReportForm:
    return ReportForm(request.GET or {}, services=Service.objects.order_by("name").values_list("code", "name"))


def _periods(request: HttpRequest, today: date) -> list[tuple[str, str]]:
    """Periods to choose with one tap: name and query; the breakdown stays as it is."""
    periods = [
        (_("all jobs"), None),
        (_("last 12 months"), today - timedelta(days=365)),
        (_("last 3 months"), today - timedelta(days=91)),
    ]
    kept = {name: request.GET[name] for name in ("by", "service") if request.GET.get(name)}
    return [(name, _query(request, kept | ({"since": since.isoformat()} if since else {}))) for name, since in periods]


def _query(request: HttpRequest, values: dict[str, str]) -> str:
    query = request.GET.copy()
    query.clear()
    query.update(values)
    return query.urlencode()


def _report_context(found: EarningsReport, currency: str) -> dict[str, Any]:
    rows = [
        {
            "group": group,
            "verdict": verdict_word(group.verdict),
            "crew_hours": crew_hours_words(group.crew_minutes),
            "earned_interval": interval_words(group.earned, currency),
            "margin_interval": interval_words(group.margin, currency),
        }
        for group in found.groups
    ]
    below = [group for group in found.groups if group.decision]
    return {
        "report": found,
        "by_word": breakdown_word(found.by),
        "rows": rows,
        "advice": [_advice(group, found.target_cents_per_crew_hour, currency) for group in below],
        "chart": _chart_rows(found),
        "notes": _notes(found),
        **_tally(found),
        "minimum_jobs": MINIMUM_JOBS,
        "error_percent": round(FAMILY_ERROR * 100),
    }


def _advice(group: GroupEarnings, target_cents: int, currency: str) -> dict[str, Any]:
    """What to do about a group below the target, and why it is."""
    per_hour = group.shortfall_per_crew_hour
    parts = zip(per_hour.parts, group.shortfall.parts, strict=True) if per_hour else ()
    return {
        "group": group,
        "decision": decision_words(group),
        "sentence": short_sentence(group, target_cents, currency),
        "why": why_sentence(group, currency),
        "choices": choices_of(group, currency),
        "chart": split_chart(per_hour, currency) if per_hour else None,
        "parts": [(cause_words(cause), hourly, whole) for (cause, hourly), (_same, whole) in parts],
    }


def _notes(found: EarningsReport) -> dict[str, int]:
    """What the figures rest on, over all groups."""
    sums = [group.sums for group in found.groups]
    return {
        "shared_by_estimate": sum(each.jobs_shared_by_estimate for each in sums),
        "late_facts": sum(each.jobs_with_late_facts for each in sums),
        "without_card": sum(each.lines_without_card for each in sums),
        "without_estimate": sum(each.lines_without_estimate for each in sums),
        "jobs": sum(each.earned.n for each in sums),
    }


def _chart_rows(found: EarningsReport) -> list[dict[str, Any]]:
    return [
        {
            "label": group.sums.name,
            "value": group.earned.cents if group.earned else None,
            "low": group.earned.low_cents if group.earned else None,
            "high": group.earned.high_cents if group.earned else None,
            "note": verdict_word(group.verdict),
            "warning": group.verdict == Verdict.BELOW,
        }
        for group in found.groups
    ]


def _tally(found: EarningsReport) -> dict[str, int]:
    """How many groups have each verdict."""
    counted = Counter(group.verdict for group in found.groups)
    return {
        "below": counted[Verdict.BELOW],
        "above": counted[Verdict.ABOVE],
        "open": counted[Verdict.NOT_ENOUGH],
    }
