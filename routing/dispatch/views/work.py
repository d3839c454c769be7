"""Work instructions on the phone, and what was poured and rinsed; the mix sheet; trucks and what they wash with."""

import uuid
from collections.abc import Callable, Mapping
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from jobs.customers.models import Wall
from jobs.mixing.models import Product
from jobs.work.forms import ConfirmForm
from jobs.work.met import pour_warnings
from jobs.work.models import JobLine
from jobs.work.services import product_pour, rinse_confirm, step_mark, wall_rinse
from routing.dispatch.forms import PourForm, RigForm, RinseForm, StepForm
from routing.dispatch.models import SentStop
from routing.dispatch.pdf import mix_sheet_pdf
from routing.dispatch.selectors.rigs import truck_get, truck_list
from routing.dispatch.selectors.sent import sent_route_get, sent_stop_get
from routing.dispatch.selectors.sheets import sheet_of_route, sheet_of_sent
from routing.dispatch.selectors.work import phone_work
from routing.dispatch.services import rig_set
from routing.dispatch.sheet import Sheet
from shared import clock
from shared.errors import NotFound, Refused, WalldayError
from shared.people.roles import office_required, signed_in
from shared.web.answers import pdf_answer


@require_GET
@signed_in
def instructions(request: HttpRequest, stop_id: int) -> HttpResponse:
    """The steps of each line, the mixes, and what was poured, for one stop."""
    stop = sent_stop_get(pk=stop_id, user=request.user, now=clock.now())
    today = clock.local_date(stop.route.sent.plan.yard.timezone, clock.now())
    work = phone_work(stop=stop, now=clock.now())
    return render(request, "dispatch/crew_work.html", {"work": work, "confirm_form": ConfirmForm.on(today)})


@require_POST
@signed_in
def entry(request: HttpRequest, stop_id: int, kind: str) -> HttpResponse:
    """A step done, a product poured or a wall rinsed, now. What the rules refuse is said in their words."""
    if kind not in ENTRIES:
        raise Http404
    stop = sent_stop_get(pk=stop_id, user=request.user, now=clock.now())
    try:
        ENTRIES[kind](request, stop)
    except WalldayError as error:
        messages.error(request, error.message)
    return redirect(reverse("dispatch:crew_work", args=[stop.pk]) + f"#{_anchor(request, kind)}")


def _anchor(request: HttpRequest, kind: str) -> str:
    line, step = request.POST.get("line", ""), request.POST.get("step", "")
    return f"step-{line}-{step}" if kind == "step" and line.isdecimal() and step.isalpha() else "poured"


def _common(request: HttpRequest) -> dict[str, Any]:
    now = clock.now()
    return {"key": uuid.uuid4(), "at": now, "now": now, "actor": request.user}


def _step(request: HttpRequest, stop: SentStop) -> None:
    form = StepForm(request.POST)
    line = JobLine.objects.filter(job=stop.job_id, pk=form.cleaned_data["line"]).first() if form.is_valid() else None
    if line is None:
        raise NotFound(_("There is no such step here."))
    data = form.cleaned_data
    step_mark(job_line=line, step=data["step"], is_done=data["is_done"], **_common(request))


def _pour(request: HttpRequest, stop: SentStop) -> None:
    form = PourForm(request.POST)
    if not form.is_valid():
        raise NotFound(_("Choose what is poured."))
    data = form.cleaned_data
    product = Product.objects.filter(pk=data["product"], is_active=True).first()
    if product is None:
        raise NotFound(_("Choose what is poured."))
    row = product_pour(
        job=stop.job,
        product=product,
        wall=_wall(stop, data["wall"]),
        basis_points=data["basis_points"],
        basis=data["basis"],
        happened=data["happened"],
        **_common(request),
    )
    messages.success(request, _("Written down: %(product)s.") % {"product": product.name})
    for words in pour_warnings(row=row, now=clock.now(), zone=stop.route.sent.plan.yard.timezone):
        messages.warning(request, words)


def _rinse(request: HttpRequest, stop: SentStop) -> None:
    form = RinseForm(request.POST)
    if not form.is_valid():
        raise NotFound(_("There is no such wall here."))
    wall_rinse(job=stop.job, wall=_wall(stop, form.cleaned_data["wall"]), **_common(request))
    messages.success(request, _("Rinse written down."))


def _confirm(request: HttpRequest, stop: SentStop) -> None:
    form = ConfirmForm(request.POST)
    if not form.is_valid():
        raise Refused(_("Say on which day and at what time it was rinsed, and how you know."))
    data, zone = form.cleaned_data, stop.route.sent.plan.yard.timezone
    rinse_confirm(
        job=stop.job,
        wall=_wall(stop, data["wall"]),
        reason=data["reason"],
        **_common(request) | {"at": form.moment(zone)},
    )
    messages.success(request, _("Rinse written down."))


def _wall(stop: SentStop, wall_id: int | None) -> Wall | None:
    if wall_id is None:
        return None
    row = Wall.objects.filter(property=stop.job.property_id, pk=wall_id).first()
    if row is None:
        raise NotFound(_("There is no such wall here."))
    return row


ENTRIES: Mapping[str, Callable[[HttpRequest, SentStop], None]] = {
    "step": _step,
    "pour": _pour,
    "rinse": _rinse,
    "confirm": _confirm,
}


@require_GET
@office_required
def mix_sheet(request: HttpRequest, route_id: int) -> HttpResponse:
    """The mixes of a route, and what they come to on its truck."""
    context = {
        "sheet": sheet_of_route(route_id=route_id),
        "pdf_url": reverse("dispatch:mix_sheet_pdf", args=[route_id]),
    }
    return render(request, "dispatch/mix_sheet.html", context | {"route_id": route_id})


@require_GET
@office_required
def mix_sheet_as_pdf(request: HttpRequest, route_id: int) -> HttpResponse:
    return _mix_answer(sheet_of_route(route_id=route_id))


@require_GET
@signed_in
def crew_mix_sheet_as_pdf(request: HttpRequest, sent_route_id: int) -> HttpResponse:
    """The mix sheet of an own route, as it was sent out."""
    return _mix_answer(sheet_of_sent(route=sent_route_get(pk=sent_route_id, user=request.user, now=clock.now())))


def _mix_answer(sheet: Sheet) -> HttpResponse:
    return pdf_answer(mix_sheet_pdf(sheet), name=f"{sheet.work_date.isoformat()}-{sheet.crew_code}-mix")


@require_GET
@office_required
def trucks(request: HttpRequest) -> HttpResponse:
    """Trucks, and what they wash with as it was measured."""
    return render(request, "dispatch/trucks.html", {"trucks": truck_list()})


@require_http_methods(["GET", "POST"])
@office_required
def truck(request: HttpRequest, truck_code: str) -> HttpResponse:
    """Measure a truck's injector and write down its nozzle, jugs and eyewash."""
    row = truck_get(code=truck_code)
    form = RigForm(request.POST or None, initial=RigForm.initial_of(getattr(row, "rig", None)))
    if request.method == "POST" and form.is_valid():
        try:
            rig_set(truck=row, actor=request.user, **form.cleaned_data)
            messages.success(request, _("Kept."))
            return redirect("dispatch:trucks")
        except ValidationError as error:
            form.add_error(None, error.messages)
    return render(request, "dispatch/truck.html", {"truck": row, "form": form}, status=422 if form.errors else 200)
