"""What the office and the owner decide."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from jobs.walkthroughs.forms import OverrideForm
from jobs.walkthroughs.models import Walkthrough
from jobs.walkthroughs.services import difference_settle, removal_open, start_override
from jobs.walkthroughs.views.access import job_for, notice_for, offline_of
from shared import clock
from shared.errors import Refused, WalldayError
from shared.people.roles import office_required, owner_required


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


@require_POST
@office_required
def difference(request: HttpRequest, notice_id: int) -> HttpResponse:
    """Let an acknowledgement count although the phone showed another text than ours."""
    notice = notice_for(user=request.user, pk=notice_id)
    reason = request.POST.get("reason", "")
    try:
        difference_settle(answer=offline_of(notice), reason=reason, now=clock.now(), actor=request.user)
        messages.success(request, _("It counts. Your reason stands beside it."))
    except WalldayError as error:
        messages.error(request, error.message)
    return redirect("work:job_page", job_id=notice.walkthrough.job_id)


@require_POST
@office_required
def removal(request: HttpRequest, walkthrough_id: int) -> HttpResponse:
    """Open the separate job that takes off the chalk found."""
    row = Walkthrough.objects.filter(pk=walkthrough_id).first()
    if row is None:
        raise Http404
    try:
        job = removal_open(walkthrough=row, now=clock.now(), actor=request.user)
    except Refused as error:
        messages.error(request, error.message)
        return redirect("work:job_page", job_id=row.job_id)
    messages.success(request, _("This is the job that takes the chalk off."))
    return redirect("work:job_page", job_id=job.pk)
