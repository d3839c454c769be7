"""What reminders brought, and the share that is held back."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from jobs.customers.domain.outfiles import ENCODING
from jobs.reminders.brought import Brought, brought, brought_csv
from jobs.reminders.domain.gain import ANSWERED_WITHIN
from jobs.reminders.forms import HoldingBackForm
from jobs.reminders.holding import holding_back_get, holding_back_set
from shared import clock
from shared.people.roles import office_required, owner_required
from shared.web.present import today_here


@require_GET
@office_required
def brought_page(request: HttpRequest) -> HttpResponse:
    """What reminders brought beyond what comes anyway."""
    found = brought(now=clock.now())
    context = {
        "found": found,
        "chart": _gain_rows(found),
        "form": HoldingBackForm(instance=holding_back_get()),
        "days": ANSWERED_WITHIN.days,
    }
    return render(request, "reminders/brought.html", context)


@require_GET
@office_required
def brought_file(request: HttpRequest) -> HttpResponse:
    """The same as a file for a spreadsheet."""
    answer = HttpResponse(brought_csv(brought(now=clock.now())), content_type="text/csv", charset=ENCODING)
    answer["Content-Disposition"] = f'attachment; filename="reminders-brought-{today_here()}.csv"'
    return answer


def _gain_rows(found: Brought) -> list[dict[str, Any]]:
    """The campaigns whose gain is known, for the chart."""
    return [
        {
            "label": date_format(row.campaign, "F Y") if row.campaign else _("All"),
            "value": row.gain.value,
            "low": row.gain.low,
            "high": row.gain.high,
            "note": _("not enough to tell") if row.gain.low <= 0 <= row.gain.high else "",
        }
        for row in (*found.campaigns, found.total)
        if row.gain
    ]


@require_POST
@owner_required
def holding_back(request: HttpRequest) -> HttpResponse:
    """How many are held back from now on."""
    form = HoldingBackForm(request.POST, instance=holding_back_get())
    if form.is_valid():
        holding_back_set(percent=form.cleaned_data["percent"], actor=request.user)
        messages.success(request, _("Saved."))
    else:
        messages.error(request, str(form.errors["percent"][0]))
    return redirect("reminders:brought")
