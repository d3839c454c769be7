"""Who should hear now."""

from dataclasses import replace

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from jobs.reminders.forms import DEFAULT_WEEKS, WeeksForm
from jobs.reminders.proposal import DueProposal, Room, due_proposal, rates_in_words
from routing.plans.selectors.detours import added_minutes
from routing.plans.selectors.near import free_minutes, undated_minutes
from shared import clock
from shared.people.roles import office_required
from shared.web.present import today_here


@require_GET
@office_required
def proposal(request: HttpRequest) -> HttpResponse:
    """Who should hear now, so that the answers fill the crews' free hours and no more."""
    form = WeeksForm(request.GET or None)
    wish = form.cleaned_data if form.is_bound and form.is_valid() else {"weeks": DEFAULT_WEEKS}
    found = proposal_of(**wish)
    context = {"found": found, "weeks": wish["weeks"], "form": form, "rates": rates_in_words(found.rates)}
    return render(request, "reminders/proposal.html", context, status=422 if form.errors else 200)


def proposal_of(*, weeks: int, keep_hours: int | None = None) -> DueProposal:
    """The proposal for the coming weeks, with the room that plans, agreed work and the hours to keep leave."""
    today, kept = today_here(), 60 * (keep_hours or 0)
    now, then = (
        Room(free_minutes(today=today, weeks=ahead), undated_minutes(today=today, weeks=ahead), kept)
        for ahead in (weeks, weeks + 1)
    )
    return due_proposal(
        today=today,
        now=clock.now(),
        room=replace(now, later=max(0, then.minutes - now.minutes)),
        detours=lambda places: added_minutes(places=places, today=today, weeks=weeks),
    )
