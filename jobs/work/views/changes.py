"""Changing one job: its steps, its days, what was booked for it."""

import uuid
from collections.abc import Callable

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from jobs.customers.models import Wall
from jobs.work import services
from jobs.work.forms import (
    BookForm,
    ConditionsForm,
    ConfirmForm,
    CorrectForm,
    LineBookFormSet,
    LineTermsFormSet,
    RefundForm,
    ReturnVisitForm,
    StepForm,
    TermsForm,
    WindowFormSet,
)
from jobs.work.inputs import LineTerms
from jobs.work.models import Job, Visit
from jobs.work.selectors import job_get
from jobs.work.views.pages import STEPS_ON_PAGE, job_context
from routing.dispatch.selectors.sent import drive_share
from routing.dispatch.services import job_book
from shared import clock
from shared.people.roles import office_required
from shared.web.present import company_now
from shared.web.refusals import words_instead_of_errors

SERVICES: dict[str, Callable[..., Job]] = {
    "estimate": services.job_estimate,
    "agree": services.job_agree,
    "decline": services.job_decline,
    "call_off": services.job_call_off,
    "agree_again": services.job_mark_agreed_again,
}


_refusals_on_its_page = words_instead_of_errors("work:job_page", key="job_id")


@require_POST
@office_required
@_refusals_on_its_page
def step(request: HttpRequest, job_id: int, step: str) -> HttpResponse:
    """Agree, decline, call off and so on."""
    if step not in STEPS_ON_PAGE:
        raise Http404
    job, form = job_get(pk=job_id), StepForm(request.POST)
    if not form.is_valid():
        return render(request, "work/job.html", job_context(job, step_form=form), status=422)
    reason, version = form.cleaned_data["reason"], form.cleaned_data["version"]
    SERVICES[step](job=job, reason=reason, actor=request.user, expected_version=version)
    messages.success(request, _("The job is now: %(state)s.") % {"state": job.get_state_display()})
    return redirect("work:job_page", job_id=job_id)


@require_POST
@office_required
@_refusals_on_its_page
def days(request: HttpRequest, job_id: int) -> HttpResponse:
    """Set the days on which the work may begin."""
    job, step_form = job_get(pk=job_id), StepForm(request.POST)
    formset = WindowFormSet(request.POST, prefix="days")
    if not (formset.is_valid() and step_form.is_valid()):
        return render(request, "work/job.html", job_context(job, days_formset=formset), status=422)
    windows = [form.window for form in formset if form.window]
    version = step_form.cleaned_data["version"]
    services.job_windows_set(job=job, windows=windows, actor=request.user, expected_version=version)
    messages.success(request, _("The days are set."))
    return redirect("work:job_page", job_id=job_id)


@require_POST
@office_required
@_refusals_on_its_page
def terms(request: HttpRequest, job_id: int) -> HttpResponse:
    """Agree other prices and minutes."""
    job, step_form = job_get(pk=job_id), StepForm(request.POST)
    form, lines = TermsForm(request.POST, prefix="terms"), LineTermsFormSet(request.POST, prefix="agreed")
    if not all([form.is_valid(), lines.is_valid(), step_form.is_valid()]):
        return render(request, "work/job.html", job_context(job, terms_form=form, terms_formset=lines), status=422)
    services.job_terms_set(
        job=job,
        lines=[LineTerms(**line.cleaned_data) for line in lines],
        discount_cents=form.cleaned_data["discount_cents"] or 0,
        reason=form.cleaned_data["reason"],
        actor=request.user,
        expected_version=step_form.cleaned_data["version"],
    )
    messages.success(request, _("The new terms are set."))
    return redirect("work:job_page", job_id=job_id)


@require_POST
@office_required
@_refusals_on_its_page
def conditions(request: HttpRequest, job_id: int) -> HttpResponse:
    """Say how easy the property is to work at, and how soiled it is."""
    job, form = job_get(pk=job_id), ConditionsForm(request.POST, prefix="conditions")
    if not form.is_valid():
        return render(request, "work/job.html", job_context(job, conditions_form=form), status=422)
    services.job_conditions_set(job=job, actor=request.user, **form.cleaned_data)
    messages.success(request, _("Access and soil are set."))
    return redirect("work:job_page", job_id=job_id)


@require_POST
@office_required
@_refusals_on_its_page
def return_visit(request: HttpRequest, job_id: int) -> HttpResponse:
    """Take down a free return visit."""
    job, form = job_get(pk=job_id), ReturnVisitForm(request.POST, prefix="again")
    if not form.is_valid():
        return render(request, "work/job.html", job_context(job, return_form=form), status=422)
    again = services.return_visit_create(job=job, created_at=clock.now(), actor=request.user, **form.cleaned_data)
    messages.success(request, _("The return visit is taken down. Set its days."))
    return redirect("work:job_page", job_id=again.pk)


@require_POST
@office_required
@_refusals_on_its_page
def book(request: HttpRequest, job_id: int) -> HttpResponse:
    """Book what a crew did, when nobody booked it on the way."""
    job = job_get(pk=job_id)
    form, formset = BookForm(request.POST, prefix="book"), LineBookFormSet(request.POST, prefix="lines")
    if not (form.is_valid() and formset.is_valid()):
        return render(request, "work/job.html", job_context(job, book_form=form, line_formset=formset), status=422)
    data = form.cleaned_data
    driving = form.driving or drive_share(job=job, crew=data["crew"], work_date=data["work_date"])
    job_book(
        job=job,
        crew=data["crew"],
        work_date=data["work_date"],
        on_site_minutes=data["on_site_minutes"],
        drive_minutes=driving[0],
        drive_metres=driving[1],
        lines=[line.booked for line in formset],
        note=data["note"],
        actor=request.user,
        now=clock.now(),
    )
    messages.success(request, _("Booked as done."))
    return redirect("work:job_page", job_id=job_id)


@require_POST
@office_required
@_refusals_on_its_page
def correct(request: HttpRequest, job_id: int, visit_id: int) -> HttpResponse:
    """Put right the minutes of a visit."""
    job, form = job_get(pk=job_id), CorrectForm(request.POST, prefix="correct")
    visit = Visit.objects.filter(pk=visit_id, job=job).first()
    if visit is None:
        raise Http404
    if not form.is_valid():
        return render(request, "work/job.html", job_context(job, correct_form=form), status=422)
    services.visit_correct(visit=visit, actor=request.user, **form.cleaned_data)
    messages.success(request, _("Corrected."))
    return redirect("work:job_page", job_id=job_id)


@require_POST
@office_required
@_refusals_on_its_page
def refund(request: HttpRequest, job_id: int) -> HttpResponse:
    """Give money back."""
    job, form = job_get(pk=job_id), RefundForm(request.POST, prefix="refund")
    if not form.is_valid():
        return render(request, "work/job.html", job_context(job, refund_form=form), status=422)
    today = clock.local_date(company_now().timezone, clock.now())
    services.refund_record(job=job, on=today, actor=request.user, **form.cleaned_data)
    messages.success(request, _("The refund is booked."))
    return redirect("work:job_page", job_id=job_id)


@require_POST
@office_required
@_refusals_on_its_page
def confirm_rinse(request: HttpRequest, job_id: int) -> HttpResponse:
    """Answer for it that a wall was rinsed, though nobody wrote it down then."""
    job, form = job_get(pk=job_id), ConfirmForm(request.POST)
    if not form.is_valid():
        return render(request, "work/job.html", job_context(job, confirm_form=form), status=422)
    wall_id = form.cleaned_data["wall"]
    wall = None if wall_id is None else get_object_or_404(Wall, pk=wall_id, property=job.property_id)
    services.rinse_confirm(
        key=uuid.uuid4(),
        job=job,
        wall=wall,
        at=form.moment(company_now().timezone),
        reason=form.cleaned_data["reason"],
        now=clock.now(),
        actor=request.user,
    )
    messages.success(request, _("Rinse written down."))
    return redirect("work:job_page", job_id=job_id)
