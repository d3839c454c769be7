from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from pricing.costs.domain import week_start
from pricing.costs.forms import BonusForm, CostSettingsForm, MileageForm, TermsForm, WeekForm
from pricing.costs.selectors import (
    cost_settings_get,
    drawings_per_crew_hour,
    last_worked_on,
    mileage_rate_list,
    week_hours,
    worker_list,
)
from pricing.costs.services import bonus_add, cost_settings_set, mileage_rate_set, worker_terms_set
from shared.errors import WalldayError
from shared.people.roles import owner_required
from shared.web.present import today_here


@require_http_methods(["GET", "HEAD", "POST"])
@owner_required
def wages(request: HttpRequest) -> HttpResponse:
    """Who is paid what, and a week's hours and overtime of each, first of the last week worked; for the owner alone."""
    form = TermsForm(request.POST or None, initial={"effective_from": today_here()})
    if request.method == "POST" and form.is_valid():
        worker_terms_set(actor=request.user, **form.values())
        messages.success(request, _("The wage is stored. What was booked before stays as it was booked."))
        return redirect("costs:wages")
    return _page(request, form=form)


@require_POST
@owner_required
def bonus(request: HttpRequest) -> HttpResponse:
    """Add a bonus to a worker's week."""
    form = BonusForm(request.POST, prefix="bonus")
    if not form.is_valid():
        return _page(request, bonus_form=form)
    try:
        added = bonus_add(actor=request.user, **form.values())
    except WalldayError as error:
        form.add_error("name", error.message)
        return _page(request, bonus_form=form)
    messages.success(request, _("The bonus is stored."))
    return redirect(f"{reverse('costs:wages')}?week={added.earned_on.isoformat()}")


@require_POST
@owner_required
def settings(request: HttpRequest) -> HttpResponse:
    """The weekday that the work week begins on, and the owner's drawings."""
    form = CostSettingsForm(request.POST, prefix="settings")
    if not form.is_valid():
        return _page(request, settings_form=form)
    cost_settings_set(actor=request.user, **form.cleaned_data)
    messages.success(request, _("Stored. What was booked before stays as it was booked."))
    return redirect("costs:wages")


@require_http_methods(["GET", "HEAD", "POST"])
@owner_required
def mileage(request: HttpRequest) -> HttpResponse:
    """The mileage rate of each year with its source, and the owner's own in place of one."""
    form = MileageForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        mileage_rate_set(actor=request.user, **form.values())
        messages.success(request, _("The rate is stored for what is booked from now on."))
        return redirect("costs:mileage")
    context = {"form": form, "rates": mileage_rate_list()}
    return render(request, "costs/mileage.html", context, status=422 if form.errors else 200)


def _page(request: HttpRequest, **forms: Any) -> HttpResponse:
    """The page of wages and hours; `forms` replace the fresh ones where a post was not accepted."""
    today, week = today_here(), WeekForm(request.GET)
    asked = week.cleaned_data["week"] if week.is_valid() else None
    context = {**_context(today, asked or last_worked_on(until=today)), "week_form": week, **forms}
    is_wrong = any(form.errors for form in forms.values())
    return render(request, "costs/wages.html", context, status=422 if is_wrong else 200)


def _context(today: date, day: date) -> dict[str, Any]:
    chosen = cost_settings_get()
    first = week_start(day, chosen.week_starts_on)
    initial = {"week_starts_on": chosen.week_starts_on, "drawings_cents_a_year": chosen.drawings_cents_a_year}
    return {
        "form": TermsForm(initial={"effective_from": today}),
        "bonus_form": BonusForm(prefix="bonus", initial={"earned_on": day}),
        "settings_form": CostSettingsForm(prefix="settings", initial=initial),
        "days": [first + timedelta(days=i) for i in range(7)],
        "before": first - timedelta(days=7),
        "after": first + timedelta(days=7),
        "weeks": week_hours(day=day),
        "workers": worker_list(),
        "drawings": drawings_per_crew_hour(until=today),
    }
