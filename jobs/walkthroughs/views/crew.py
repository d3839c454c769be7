"""The walkthrough on the crew lead's phone: written down, shown to the homeowner, settled."""

import uuid
from typing import Any

from django.contrib import messages
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from jobs.walkthroughs.forms import (
    AcknowledgeForm,
    NobodyHomeForm,
    WalkthroughForm,
    findings_of,
    left_out_of,
    photos_of,
    spots_of,
)
from jobs.walkthroughs.inputs import MOST_PHOTOS, WalkthroughInput
from jobs.walkthroughs.models import Notice, Walkthrough
from jobs.walkthroughs.phone_words import phone_sentences
from jobs.walkthroughs.pictures import MOST_BYTES
from jobs.walkthroughs.selectors import start_gate
from jobs.walkthroughs.selectors.notices import notice_standing
from jobs.walkthroughs.selectors.removal import asks_about_removal
from jobs.walkthroughs.services import (
    notice_acknowledge,
    notice_make,
    notice_send,
    photo_add,
    walkthrough_record,
)
from jobs.walkthroughs.services.notices import LANGUAGES
from jobs.walkthroughs.views.access import job_for, notice_for
from jobs.walkthroughs.views.buttons import buttons_of
from jobs.work.models import Job
from shared import clock
from shared.errors import WalldayError
from shared.people.roles import signed_in
from shared.web.present import company_now

MOST_FORM_BYTES = 60 * 1024 * 1024  # several pictures in one form, where there is no JavaScript


@require_GET
@signed_in
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, from an address whose scope is the crew's pages."""
    with open(str(finders.find("walkthroughs/worker.js")), "rb") as file:
        response = HttpResponse(file.read(), content_type="text/javascript")
    response["Cache-Control"] = "no-cache"
    response["Service-Worker-Allowed"] = "/crew/"
    return response


@csrf_exempt  # only until the size is known: the form itself is protected below
@require_http_methods(["GET", "POST"])
@signed_in
def walkthrough(request: HttpRequest, job_id: int) -> HttpResponse:
    """The form; a body that is too large is refused before it is read."""
    if int(request.META.get("CONTENT_LENGTH") or 0) > MOST_FORM_BYTES:
        job = job_for(user=request.user, job_id=job_id)
        words = _("These pictures are too large together. Send fewer at a time.")
        return _page(request, job, _fresh(), [words], status=413)
    answer: HttpResponse = _walkthrough(request, job_id)
    return answer


@csrf_protect
def _walkthrough(request: HttpRequest, job_id: int) -> HttpResponse:
    job = job_for(user=request.user, job_id=job_id)
    if request.method == "GET":
        return _page(request, job, _fresh(), [])
    form = WalkthroughForm(request.POST)
    if not form.is_valid():
        return _page(request, job, form, [], status=422)
    try:
        row = walkthrough_record(job=job, entry=_entry(request, job, form), now=clock.now(), actor=request.user)
    except WalldayError as error:
        return _page(request, job, form, [error.message], status=error.status)
    _photos_store(request, job, row)
    messages.success(request, _("The walkthrough is written down."))
    return redirect("walkthroughs:crew_walkthrough", job_id=job_id)


def _fresh() -> WalkthroughForm:
    return WalkthroughForm(initial={"key": uuid.uuid4()})


def _entry(request: HttpRequest, job: Job, form: WalkthroughForm) -> WalkthroughInput:
    tested = spots_of(request.POST, job.property)
    return WalkthroughInput(
        walked_on=clock.local_date(company_now().timezone, clock.now()),
        walls=tested,
        left_out=left_out_of(request.POST, job.property, tested),
        findings=findings_of(request.POST, job.property),
        photo_count=min(sum(len(files) for _name, files in request.FILES.lists()), MOST_PHOTOS),
        **form.cleaned_data,
    )


def _photos_store(request: HttpRequest, job: Job, row: Walkthrough) -> None:
    """Each by itself: one that is refused is named, and the others are kept."""
    for named, file in photos_of(request.FILES, job.property)[:MOST_PHOTOS]:
        try:
            data = file.read(MOST_BYTES + 1)
            photo_add(walkthrough=row, key=uuid.uuid4(), data=data, now=clock.now(), actor=request.user, **named)
        except WalldayError as error:
            messages.error(request, f"{file.name}: {error.message}")


def _page(
    request: HttpRequest, job: Job, form: WalkthroughForm, problems: list[str], *, status: int = 200
) -> HttpResponse:
    pressed = request.POST if status != 413 else QueryDict()  # a body that is too large is not read here either
    today = clock.local_date(company_now().timezone, clock.now())
    newest = job.walkthroughs.prefetch_related("photos", "wall_findings__reading").first()
    context = {
        "job": job,
        "form": form,
        "problems": problems,
        "newest": newest,
        "gate": start_gate(job_id=job.pk),
        "standing": notice_standing(newest) if newest else None,
        "sentences": phone_sentences(job=job, today=today),
        "signing": [(code, AcknowledgeForm(auto_id=f"signed_{code}_%s")) for code in LANGUAGES],
        "away": NobodyHomeForm(auto_id="away_%s"),
        "most_bytes": MOST_BYTES,
        "most_photos": MOST_PHOTOS,
        **buttons_of(job.property, pressed),
    }
    return render(request, "walkthroughs/crew_walkthrough.html", context, status=status)


@require_POST
@signed_in
def notice_new(request: HttpRequest, job_id: int) -> HttpResponse:
    """Make the notice of the newest walkthrough, and open it."""
    job = job_for(user=request.user, job_id=job_id)
    newest = job.walkthroughs.first()
    if newest is None:
        messages.error(request, _("First walk around the house and write down what you find."))
        return redirect("walkthroughs:crew_walkthrough", job_id=job_id)
    try:
        row = notice_make(walkthrough=newest, now=clock.now(), actor=request.user)
    except WalldayError as error:
        messages.error(request, error.message)
        return redirect("walkthroughs:crew_walkthrough", job_id=job_id)
    language = job.property.customer.language
    return redirect("walkthroughs:crew_notice", notice_id=row.pk, language=language)


@require_http_methods(["GET", "POST"])
@signed_in
def notice(request: HttpRequest, notice_id: int, language: str) -> HttpResponse:
    """The notice in one language on the crew's phone; the homeowner types a name below it."""
    row = notice_for(user=request.user, pk=notice_id)
    form = AcknowledgeForm(request.POST or None, initial={"language": language})
    if request.method == "POST" and form.is_valid():
        try:
            _acknowledge(request, row, form)
            messages.success(request, _("Acknowledged. The work may start."))
            return redirect("walkthroughs:crew_notice", notice_id=notice_id, language=language)
        except WalldayError as error:
            form.add_error(None, error.message)
    return _notice_page(request, row, language, form, NobodyHomeForm())


def _acknowledge(request: HttpRequest, row: Notice, form: AcknowledgeForm) -> None:
    notice_acknowledge(
        notice=row,
        now=clock.now(),
        by_link=False,
        device=request.headers.get("User-Agent", ""),
        actor=request.user,
        **form.cleaned_data,
    )


@require_POST
@signed_in
def nobody_home(request: HttpRequest, notice_id: int) -> HttpResponse:
    """Nobody was home: how the notice goes to the homeowner."""
    row = notice_for(user=request.user, pk=notice_id)
    form = NobodyHomeForm(request.POST)
    language = row.walkthrough.property.customer.language
    if form.is_valid():
        try:
            notice_send(notice=row, now=clock.now(), actor=request.user, **form.cleaned_data)
            messages.success(request, _("Written down. The work may start."))
            return redirect("walkthroughs:crew_walkthrough", job_id=row.walkthrough.job_id)
        except WalldayError as error:
            form.add_error(None, error.message)
    return _notice_page(request, row, language, AcknowledgeForm(initial={"language": language}), form)


def _notice_page(request: HttpRequest, row: Notice, language: str, form: Any, away: Any) -> HttpResponse:
    shown = row.prints.filter(language=language).first() or row.prints.earliest("pk")
    context = {
        "notice": row,
        "shown": shown,
        "answer": getattr(row, "acknowledgement", None),
        "absences": row.absences.all(),
        "asks_removal": asks_about_removal(row.walkthrough),
        "form": form,
        "away": away,
    }
    status = 422 if form.errors or away.errors else 200
    return render(request, "walkthroughs/crew_notice.html", context, status=status)
