from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from pricing.costs.domain import week_start
from pricing.costs.forms import TermsForm, WeekForm
from pricing.costs.selectors import last_worked_on, week_hours, worker_list
from pricing.costs.services import worker_terms_set
from shared import clock
from shared.people.roles import owner_required
from shared.web.present import company_now


@require_http_methods(["GET", "HEAD", "POST"])
@owner_required
def wages(request: HttpRequest) -> HttpResponse:
    """Who is paid what, and a week's hours and overtime of each, first of the last week worked; for the owner alone."""
    today = clock.local_date(company_now().timezone, clock.now())
    form = TermsForm(request.POST or None, initial={"effective_from": today})
    if request.method == "POST" and form.is_valid():
        worker_terms_set(actor=request.user, **form.values())
        messages.success(request, _("The wage is stored. What was booked before stays as it was booked."))
        return redirect("costs:wages")
    week = WeekForm(request.GET)
    asked = week.cleaned_data["week"] if week.is_valid() else None
    day = asked or last_worked_on(until=today)
    return render(request, "costs/wages.html", _context(form, week, day), status=422 if form.errors else 200)


def _context(form: TermsForm, week: WeekForm, day: date) -> dict[str, Any]:
    monday = week_start(day)
    return {
        "form": form,
        "week_form": week,
        "days": [monday + timedelta(days=i) for i in range(7)],
        "before": monday - timedelta(days=7),
        "after": monday + timedelta(days=7),
        "weeks": week_hours(day=day),
        "workers": worker_list(),
    }
