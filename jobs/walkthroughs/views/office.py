"""What only the owner decides."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from jobs.walkthroughs.forms import OverrideForm
from jobs.walkthroughs.services import start_override
from jobs.walkthroughs.views.access import job_for
from shared import clock
from shared.people.roles import owner_required


@require_POST
@owner_required
def start_anyway(request: HttpRequest, job_id: int) -> HttpResponse:
    """Let a job begin without a settled notice, for a reason."""
    job, form = job_for(user=request.user, job_id=job_id), OverrideForm(request.POST)
    if form.is_valid():
        start_override(job=job, now=clock.now(), actor=request.user, **form.cleaned_data)
        messages.success(request, _("The crew may start. Your reason stands on the stop."))
    else:
        messages.error(request, _("Say why, in a few words."))
    return redirect("work:job_page", job_id=job_id)
