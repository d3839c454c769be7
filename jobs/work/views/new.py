"""Taking down a new job at a property."""

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from jobs.customers.models import Property
from jobs.work.forms import NewJobForm, NewLineForm, NewLineFormSet, WindowFormSet
from jobs.work.inputs import NewLine
from jobs.work.selectors import line_with_card, wall_sqft
from jobs.work.services import job_create
from pricing.catalogue.domain import RateTerms
from pricing.catalogue.selectors import rate_terms
from shared import clock
from shared.errors import Refused
from shared.people.roles import office_required
from shared.web.present import company_now

FILL_IN = "fill_in"


@require_http_methods(["GET", "POST"])
@office_required
def job_new(request: HttpRequest, property_id: int) -> HttpResponse:
    """Services, quantities, days; "fill in" shows the rate card's minutes and prices before anything is stored."""
    place = Property.objects.select_related("customer").filter(pk=property_id, joined_into__isnull=True).first()
    if place is None:
        raise Http404
    if request.method == "GET":
        return _page(request, place, NewJobForm(), NewLineFormSet(prefix="lines"), WindowFormSet(prefix="days"))
    form, days = NewJobForm(request.POST), WindowFormSet(request.POST, prefix="days")
    lines = NewLineFormSet(request.POST, prefix="lines")
    is_valid = all([form.is_valid(), days.is_valid(), lines.is_valid()])
    new_lines = _lines(lines, place) if is_valid else []
    if is_valid and FILL_IN not in request.POST and not any(line.errors for line in lines):
        return _create(request, place, form, days, lines, new_lines)
    if FILL_IN in request.POST:
        lines = _filled_in(lines, new_lines)
    return _page(request, place, form, lines, days, status=422 if not is_valid else 200)


def _create(
    request: HttpRequest, place: Property, form: NewJobForm, days: Any, lines: Any, new_lines: list[NewLine]
) -> HttpResponse:
    data = form.cleaned_data
    try:
        job = job_create(
            property=place,
            lines=new_lines,
            windows=[day.window for day in days if day.window],
            state=data["state"],
            discount_cents=data["discount_cents"] or 0,
            source=data["source"],
            note=data["note"],
            created_at=clock.now(),
            actor=request.user,
        )
    except Refused as error:
        form.add_error(None, error.message)
        return _page(request, place, form, lines, days, status=422)
    messages.success(request, _("The job is taken down."))
    return redirect("work:job_page", job_id=job.pk)


def _lines(formset: Any, place: Property) -> list[NewLine]:
    """The lines that name a service, with what was left empty taken from the rate card in force."""
    rates = rate_terms(on=clock.local_date(company_now().timezone, clock.now()))
    forms = [form for form in formset if form.cleaned_data.get("service")]
    return [line for form in forms if (line := _line(form, place, rates))]


def _line(form: NewLineForm, place: Property, rates: Mapping[str, RateTerms]) -> NewLine | None:
    data = form.cleaned_data
    try:
        return line_with_card(
            service=data["service"],
            place=place,
            rates=rates,
            quantity=data["quantity"],
            minutes=data["estimated_minutes"],
            price_cents=data["price_cents"],
        )
    except Refused as error:
        form.add_error("service", error.message)
        return None


def _filled_in(formset: Any, lines: list[NewLine]) -> Any:
    """The same lines with every figure written out, for the office to change; the errors, where there are some."""
    if not formset.is_valid() or any(form.errors for form in formset):
        return formset
    initial = [
        {
            "service": line.service.pk,
            "quantity": line.quantity,
            "estimated_minutes": line.estimated_minutes,
            "price_cents": line.price_cents,
        }
        for line in lines
    ]
    return NewLineFormSet(initial=initial, prefix="lines")


def _page(
    request: HttpRequest, place: Property, form: NewJobForm, lines: Any, days: Any, *, status: int = 200
) -> HttpResponse:
    context = {"place": place, "form": form, "lines": lines, "days": days, "wall_sqft": wall_sqft(property=place)}
    return render(request, "work/job_new.html", context, status=status)
