"""Walls by when they pass the owner's limit: a list, a map, a file; and the limit itself."""

import csv
from datetime import date
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from jobs.chalking.forms import ForecastFilter, LimitForm
from jobs.chalking.learnt import chalk_learnt
from jobs.chalking.marks import marks_of
from jobs.chalking.models import WallForecast
from jobs.chalking.selectors import (
    chalk_model_now,
    chalk_setting_get,
    forecast_list,
    forecast_verdict,
    reading_of,
)
from jobs.chalking.services import chalk_setting_update
from jobs.chalking.words import forecast_facts, season_chance, verdict_words
from jobs.customers.domain.outfiles import guard
from jobs.walkthroughs.domain import step_text
from shared.people.roles import office_required, owner_required
from shared.web.present import today_here

PER_PAGE = 50
COLUMNS = (
    "street", "city", "customer", "wall", "reading", "read_on", "early_on", "middle_on", "late_on", "verdict",
    "chance_this_season_percent", "light_percent", "tested",
)  # fmt: skip


@require_GET
@office_required
def walls(request: HttpRequest) -> HttpResponse:
    """Walls that pass the limit this season, or another part of them, in a list and on a map."""
    form, today, limit = _filter(request), today_here(), chalk_setting_get().limit_decimal
    page = Paginator(forecast_list(limit=limit, today=today, **form.chosen()), PER_PAGE).get_page(
        request.GET.get("page")
    )
    rows = [
        {"row": row, "number": k, **forecast_facts(row, reading=reading_of(row), limit=limit, today=today)}
        for k, row in enumerate(page, page.start_index())
    ]
    context = {
        "form": form,
        "page": page,
        "rows": rows,
        "marks": marks_of(rows),
        "limit": step_text(limit),
        "model": chalk_model_now(),
        "untested": forecast_list(limit=limit, today=today, **form.chosen() | {"is_untested": True}).count(),
        "query": request.GET.urlencode(),
    }
    return render(request, "chalking/walls.html", context)


@require_GET
@office_required
def walls_csv(request: HttpRequest) -> HttpResponse:
    """What the filter leaves as a file; nothing in it is run by a spreadsheet."""
    today, limit = today_here(), chalk_setting_get().limit_decimal
    answer = HttpResponse(
        "\ufeff",
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="chalk.csv"'},
    )
    out = csv.writer(answer)
    out.writerow(COLUMNS)
    for row in forecast_list(limit=limit, today=today, **_filter(request).chosen()).iterator(chunk_size=1000):
        out.writerow([guard(str(cell)) for cell in _cells(row, limit, today)])
    return answer


@require_GET
@office_required
def learnt(request: HttpRequest) -> HttpResponse:
    """What the readings taught, beside what was believed before."""
    model, lines = chalk_learnt()
    limit = step_text(chalk_setting_get().limit_decimal)
    return render(request, "chalking/learnt.html", {"model": model, "lines": lines, "limit": limit})


@require_http_methods(["GET", "POST"])
@owner_required
def limit(request: HttpRequest) -> HttpResponse:
    """The owner's limit and the day that counts."""
    setting = chalk_setting_get()
    initial = {"limit_half_steps": setting.limit_half_steps, "due_when": setting.due_when}
    form = LimitForm(request.POST or None, initial=initial)
    if form.is_valid():
        chalk_setting_update(actor=request.user, **form.cleaned_data)
        messages.success(request, _("Saved. The forecasts follow in a moment."))
        return redirect("chalking:walls")
    return render(request, "chalking/limit.html", {"form": form}, status=422 if form.errors else 200)


def _cells(row: WallForecast, limit: Decimal, today: date) -> tuple[Any, ...]:
    place, reading, chance = row.wall.property, reading_of(row), season_chance(row, today=today)
    days = (row.early_on, row.middle_on, row.late_on) if not row.refusal else ("", "", "")
    found = forecast_verdict(row, reading=reading, limit=limit, today=today)
    return (
        place.street, place.city, place.customer.name, row.wall.name,
        "" if reading is None else step_text(reading), row.last_read_on or "", *days,
        verdict_words(found, is_untested=row.is_untested), "" if chance is None else round(100 * chance),
        round(100 * sum(row.dose_by_month)), "no" if row.is_untested else "yes",
    )  # fmt: skip


def _filter(request: HttpRequest) -> ForecastFilter:
    given = request.GET.copy()
    given.setdefault("when", "season")
    return ForecastFilter(given)
