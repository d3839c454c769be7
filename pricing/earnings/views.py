from collections import Counter
from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from pricing.catalogue.selectors import NoTargetYet
from pricing.earnings.domain.report import EarningsReport
from pricing.earnings.domain.verdict import FAMILY_ERROR, MINIMUM_JOBS, Verdict
from pricing.earnings.forms import PeriodForm
from pricing.earnings.selectors import earnings_report
from pricing.earnings.wording import crew_hours_words, interval_words, remedy_sentence, verdict_word
from shared import clock
from shared.people.roles import office_required
from shared.web.present import company_now


@require_GET
@office_required
def report(request: HttpRequest) -> HttpResponse:
    """What each kind of job earned per crew-hour; margins and wages for the owner only."""
    company = company_now()
    today = clock.local_date(company.timezone, clock.now())
    form = PeriodForm(request.GET or {})
    context: dict[str, Any] = {"form": form, "periods": _periods(today)}
    if not form.is_valid():
        return render(request, "earnings/report.html", context, status=400)
    since, until = form.period(today)
    try:
        found = earnings_report(since=since, until=until)
    except NoTargetYet as error:
        return render(request, "earnings/report.html", context | {"no_target": error.message})
    return render(request, "earnings/report.html", context | _report_context(found, company.currency))


def _periods(today: date) -> list[tuple[str, date | None]]:
    """Periods to choose with one tap: name and first day."""
    return [
        (_("all jobs"), None),
        (_("last 12 months"), today - timedelta(days=365)),
        (_("last 3 months"), today - timedelta(days=91)),
    ]


def _report_context(found: EarningsReport, currency: str) -> dict[str, Any]:
    target = found.target_cents_per_crew_hour
    rows = [
        {
            "kind": kind,
            "verdict": verdict_word(kind.verdict),
            "crew_hours": crew_hours_words(kind.crew_minutes),
            "earned_interval": interval_words(kind.earned, currency),
            "margin_interval": interval_words(kind.margin, currency),
        }
        for kind in found.kinds
    ]
    return {
        "report": found,
        "rows": rows,
        "advice": [sentence for kind in found.kinds if (sentence := remedy_sentence(kind, target, currency))],
        "chart": _chart_rows(found),
        **_tally(found),
        "minimum_jobs": MINIMUM_JOBS,
        "error_percent": round(FAMILY_ERROR * 100),
    }


def _chart_rows(found: EarningsReport) -> list[dict[str, Any]]:
    return [
        {
            "label": kind.sums.service_name,
            "value": kind.earned.cents if kind.earned else None,
            "low": kind.earned.low_cents if kind.earned else None,
            "high": kind.earned.high_cents if kind.earned else None,
            "note": verdict_word(kind.verdict),
            "warning": kind.verdict == Verdict.BELOW,
        }
        for kind in found.kinds
    ]


def _tally(found: EarningsReport) -> dict[str, int]:
    """How many kinds have each verdict."""
    counted = Counter(kind.verdict for kind in found.kinds)
    return {
        "below": counted[Verdict.BELOW],
        "above": counted[Verdict.ABOVE],
        "open": counted[Verdict.NOT_ENOUGH],
    }
