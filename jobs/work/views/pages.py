"""Looking at jobs: the list and one job."""

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from jobs.walkthroughs.selectors import latest_readings
from jobs.work.domain.states import steps_from
from jobs.work.forms import (
    BookForm,
    ConditionsForm,
    ConfirmForm,
    CorrectForm,
    JobFilterForm,
    LineBookFormSet,
    LineTermsFormSet,
    RefundForm,
    ReturnVisitForm,
    StepForm,
    TermsForm,
    WindowFormSet,
)
from jobs.work.minutes import USUAL
from jobs.work.models import Job
from jobs.work.selectors import job_get, job_list, last_removals, visit_list
from jobs.work.words import event_words
from pricing.minutes.choices import AccessLevel, SoilLevel
from pricing.minutes.selectors import conditions_of
from shared import clock
from shared.events.selectors import event_list
from shared.people.roles import office_required
from shared.web.htmx import render_page
from shared.web.present import company_now

PER_PAGE = 50
# Steps that a person takes on the page; planning, arriving and finishing come from the day plan and the crews.
STEPS_ON_PAGE = ("estimate", "agree", "agree_again", "decline", "call_off")
STEPS_WITH_REASON = ("decline", "call_off", "agree_again")


@require_GET
@office_required
def jobs(request: HttpRequest) -> HttpResponse:
    """Every job, newest first, by state and by words."""
    form = JobFilterForm(request.GET)
    wanted = form.cleaned_data if form.is_valid() else {}
    found = job_list(state=wanted.get("state", ""), words=wanted.get("words", ""))
    page = Paginator(found, PER_PAGE).get_page(request.GET.get("page"))
    return render_page(request, "work/job_list.html", {"form": form, "page": page}, part="job_rows")


@require_GET
@office_required
def job(request: HttpRequest, job_id: int) -> HttpResponse:
    """One job: lines, days, history, and what can be done with it now."""
    return render(request, "work/job.html", job_context(job_get(pk=job_id)))


def job_context(job: Job, **forms: Any) -> dict[str, Any]:
    """What the job's page shows; `forms` replace the fresh ones where a post was not accepted."""
    lines = list(job.lines.all())
    walls = [wall for line in lines for wall in line.walls.all()]
    steps = steps_from(job.state)
    access, soil = conditions_of(job_refs=[job.pk]).get(job.pk, USUAL)
    return {
        "job": job,
        "lines": lines,
        "minutes": sum(line.estimated_minutes for line in lines),
        "conditions": (AccessLevel(access).label, SoilLevel(soil).label),
        "conditions_form": ConditionsForm(prefix="conditions", initial={"access": access, "soil": soil}),
        "readings": latest_readings([wall.pk for wall in walls]),
        "removals": last_removals(wall_ids=[wall.pk for wall in walls]),
        "visits": visit_list(job=job),
        "history": [(event, event_words(event.kind)) for event in event_list(subject=job)],
        "steps": [(step, step in STEPS_WITH_REASON) for step in STEPS_ON_PAGE if step in steps],
        "may_book": "finish" in steps,
        "is_open": bool(steps),
        "step_form": StepForm(initial={"version": job.version}),
        "refund_form": RefundForm(prefix="refund"),
        "correct_form": CorrectForm(prefix="correct"),
        "return_form": ReturnVisitForm(prefix="again"),
        **_forms_of(job),
        **forms,
    }


def _forms_of(job: Job) -> dict[str, Any]:
    today = clock.local_date(company_now().timezone, clock.now())
    days = [_window_initial(window) for window in job.windows.all()]
    terms = [
        {"line_id": line.pk, "price_cents": line.price_cents, "estimated_minutes": line.estimated_minutes}
        for line in job.lines.all()
    ]
    return {
        "confirm_form": ConfirmForm.on(today),
        "days_formset": WindowFormSet(initial=days, prefix="days"),
        "book_form": BookForm(initial={"work_date": today}, prefix="book"),
        "terms_form": TermsForm(initial={"discount_cents": job.discount_cents}, prefix="terms"),
        "terms_formset": LineTermsFormSet(initial=terms, prefix="agreed"),
        "line_formset": LineBookFormSet(initial=[{"line_id": line.pk} for line in job.lines.all()], prefix="lines"),
    }


def _window_initial(window: Any) -> dict[str, Any]:
    whole_day = (window.start_minute, window.end_minute) == (0, 1439)
    return {
        "first_date": window.first_date,
        "last_date": window.last_date,
        "begins": "" if whole_day else f"{window.start_minute // 60:02d}:{window.start_minute % 60:02d}",
        "ends": "" if whole_day else f"{window.end_minute // 60:02d}:{window.end_minute % 60:02d}",
        "promised": window.promised,
    }
