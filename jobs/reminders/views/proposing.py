"""Who should hear now."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from jobs.reminders.forms import DEFAULT_WEEKS, WeeksForm
from jobs.reminders.proposal import rates_in_words
from routing.plans.selectors.filling import proposal_of
from shared import clock
from shared.people.roles import office_required
from shared.web.present import today_here


@require_GET
@office_required
def proposal(request: HttpRequest) -> HttpResponse:
    """Who should hear now, so that the answers fill the crews' free hours and no more."""
    form = WeeksForm(request.GET or None)
    wish = form.cleaned_data if form.is_bound and form.is_valid() else {"weeks": DEFAULT_WEEKS}
    found = proposal_of(today=today_here(), now=clock.now(), **wish)
    context = {"found": found, "weeks": wish["weeks"], "form": form, "rates": rates_in_words(found.rates)}
    return render(request, "reminders/proposal.html", context, status=422 if form.errors else 200)
