"""Walls by when they pass the owner's limit: a list, a map, a file; and the limit itself."""

import csv
from collections.abc import Sequence
from datetime import date
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from jobs.chalking.forms import ForecastFilter, LimitForm
from jobs.chalking.models import WallForecast
from jobs.chalking.pictures import MAP_NARROW, MAP_WIDE, MapPlace, town_map
from jobs.chalking.selectors import chalk_model_now, chalk_setting_get, forecast_list, forecast_verdict
from jobs.chalking.services import chalk_setting_update
from jobs.chalking.words import forecast_facts, verdict_words
from jobs.customers.domain.outfiles import guard
from jobs.walkthroughs.domain import step_text
from shared.people.roles import office_required, owner_required
from shared.web.present import today_here

PER_PAGE = 50
MOST_DOTS = 2000
COLUMNS = ("street", "city", "customer", "wall", "reading", "read_on", "early_on", "middle_on", "late_on", "verdict")


@require_GET
@office_required
def walls(request: HttpRequest) -> HttpResponse:
    """Walls that pass the limit this season, or another part of them, in a list and on a map."""
    form, today = _filter(request), today_here()
    found = forecast_list(today=today, **form.chosen())
    page = Paginator(found, PER_PAGE).get_page(request.GET.get("page"))
    rows = [{"row": row, "number": k, **forecast_facts(row, today)} for k, row in enumerate(page, page.start_index())]
    context = {
        "form": form,
        "page": page,
        "rows": rows,
        "maps": _maps(rows, _places(found)),
        "limit": step_text(chalk_setting_get().limit_decimal),
        "model": chalk_model_now(),
        "query": request.GET.urlencode(),
    }
    return render(request, "chalking/walls.html", context)


@require_GET
@office_required
def walls_csv(request: HttpRequest) -> HttpResponse:
    """What the filter leaves as a file; nothing in it is run by a spreadsheet."""
    today = today_here()
    answer = HttpResponse(
        "\ufeff",
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="chalk.csv"'},
    )
    out = csv.writer(answer)
    out.writerow(COLUMNS)
    for row in forecast_list(today=today, **_filter(request).chosen()).iterator(chunk_size=1000):
        out.writerow([guard(str(cell)) for cell in _cells(row, today)])
    return answer


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


def _cells(row: WallForecast, today: date) -> tuple[Any, ...]:
    place = row.wall.property
    days = (row.early_on, row.middle_on, row.late_on) if not row.refusal else ("", "", "")
    reading = step_text(row.reading) if row.reading is not None else ""  # type: ignore[attr-defined]  # annotated
    verdict = verdict_words(forecast_verdict(row, today=today))
    return (place.street, place.city, place.customer.name, row.wall.name, reading, row.last_read_on, *days, verdict)


def _filter(request: HttpRequest) -> ForecastFilter:
    given = request.GET.copy()
    given.setdefault("when", "season")
    return ForecastFilter(given)


def _places(found: Any) -> list[tuple[float, float]]:
    """Where the properties of the whole list are, as far as that is known."""
    places = found.filter(wall__property__latitude__isnull=False).order_by()
    fields = ("wall__property__latitude", "wall__property__longitude")
    return list(places.values_list(*fields).distinct()[:MOST_DOTS])


def _maps(rows: Sequence[dict[str, Any]], others: list[tuple[float, float]]) -> list[Any]:
    """The page's properties with the number of their first line, drawn for wide and for narrow screens."""
    first: dict[int, MapPlace] = {}
    for line in rows:
        place = line["row"].wall.property
        if place.has_place and place.pk not in first:
            first[place.pk] = MapPlace(place.latitude, place.longitude, line["number"], place.street, line["verdict"])
    made = [town_map(list(first.values()), others, width=width) for width in (MAP_WIDE, MAP_NARROW)]
    return [drawn for drawn in made if drawn is not None]
