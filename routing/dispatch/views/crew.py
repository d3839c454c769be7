"""The crew lead's phone: own routes of today and the next working day, as they were sent out."""

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from jobs.work.domain.booking import split_minutes
from routing.dispatch.domain.marks import minutes_on_site
from routing.dispatch.forms import FinishForm, FinishLineFormSet, MarkForm
from routing.dispatch.models import MarkKind, SentStop
from routing.dispatch.selectors.phone import PhoneStop, phone_routes, phone_stop
from routing.dispatch.selectors.sent import marks_of, sent_route_get, sent_stop_get
from routing.dispatch.selectors.sheets import sheet_of_sent
from routing.dispatch.services import on_our_way, stop_mark
from routing.dispatch.views.office import sheet_answer
from shared import clock
from shared.errors import WalldayError
from shared.people.roles import signed_in


@require_GET
@signed_in
def today(request: HttpRequest) -> HttpResponse:
    """The routes of today and of the next working day."""
    return render(request, "dispatch/crew_today.html", {"routes": phone_routes(user=request.user, now=clock.now())})


@require_GET
@signed_in
def sheet_as_pdf(request: HttpRequest, sent_route_id: int) -> HttpResponse:
    """The sheet of an own route, as it was sent out."""
    route = sent_route_get(pk=sent_route_id, user=request.user, now=clock.now())
    return sheet_answer(sheet_of_sent(route=route))


@require_POST
@signed_in
def mark(request: HttpRequest, stop_id: int, kind: str) -> HttpResponse:
    """Arrived or started: one tap. The answer is the route again, at this stop."""
    stop, form = _stop(request, stop_id), MarkForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Write the time as hours and minutes."))
        return _back_to(stop)
    try:
        stop_mark(stop=stop, kind=kind, at=_at(stop, form), now=clock.now(), actor=request.user)
    except WalldayError as error:
        messages.error(request, error.message)
    return _back_to(stop)


@require_POST
@signed_in
def coming(request: HttpRequest, stop_id: int) -> HttpResponse:
    """Tell the customer that the crew is on its way: one tap, once."""
    stop = _stop(request, stop_id)
    try:
        on_our_way(stop=stop, now=clock.now(), actor=request.user)
    except WalldayError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, _("The customer is told that you are coming."))
    return _back_to(stop)


@require_http_methods(["GET", "POST"])
@signed_in
def finish(request: HttpRequest, stop_id: int) -> HttpResponse:
    """Finished: minutes for each service, filled in from the clock, materials, a note."""
    stop = _stop(request, stop_id, late=True)
    if request.method == "GET":
        arrived = _arrived(stop)
        lines = FinishLineFormSet(initial=_initial(stop, arrived), prefix="lines")
        return _finish_page(request, stop, FinishForm(), lines, arrived=arrived)
    form, lines = FinishForm(request.POST), FinishLineFormSet(request.POST, prefix="lines")
    if not (form.is_valid() and lines.is_valid()):
        return _finish_page(request, stop, form, lines, status=422)
    try:
        stop_mark(
            stop=stop,
            kind=MarkKind.FINISHED,
            at=_at(stop, form),
            now=clock.now(),
            actor=request.user,
            lines=[line.booked for line in lines],
            note=form.cleaned_data["note"],
        )
    except WalldayError as error:
        form.add_error(None, error.message)
        return _finish_page(request, stop, form, lines, status=error.status)
    messages.success(request, _("Booked. Thank you."))
    return _back_to(stop)


def _stop(request: HttpRequest, stop_id: int, *, late: bool = False) -> SentStop:
    """`late` also finds a stop whose finish waited on a phone without a signal and is put right on a later day."""
    return sent_stop_get(pk=stop_id, user=request.user, now=clock.now(), late=late)


def _at(stop: SentStop, form: MarkForm) -> datetime:
    """Now, or the time of the stop's day that was written down."""
    written = form.cleaned_data["clock"]
    if written is None:
        return clock.now()
    plan = stop.route.sent.plan
    minute = clock.minute_of_wall_clock(plan.work_date, written, plan.yard.timezone)
    return clock.at_minute(plan.work_date, minute, plan.yard.timezone)


def _arrived(stop: SentStop) -> datetime | None:
    """Since when the clock runs; None where the arrival was not marked or the day is over."""
    plan = stop.route.sent.plan
    if clock.local_date(plan.yard.timezone, clock.now()) != plan.work_date:
        return None
    return marks_of(job_ids=[stop.job_id], work_date=plan.work_date).get(stop.job_id, {}).get(MarkKind.ARRIVED)


def _initial(stop: SentStop, arrived: datetime | None) -> list[dict[str, Any]]:
    """Minutes from arriving until now, shared out by the estimates."""
    lines = list(stop.job.lines.order_by("pk"))
    if arrived is None:
        return [{"line_id": line.pk} for line in lines]
    estimates = [line.estimated_minutes for line in lines]
    minutes = split_minutes(minutes_on_site(arrived, clock.now()), [None] * len(lines), estimates)
    return [{"line_id": line.pk, "minutes": part} for line, part in zip(lines, minutes, strict=True)]


def _finish_page(
    request: HttpRequest,
    stop: SentStop,
    form: FinishForm,
    lines: Any,
    *,
    arrived: datetime | None = None,
    status: int = 200,
) -> HttpResponse:
    page: PhoneStop = phone_stop(stop=stop)
    names = zip(lines, page.row.lines, strict=False)
    context = {"stop": page, "form": form, "lines": lines, "named_lines": list(names), "arrived": arrived}
    return render(request, "dispatch/crew_finish.html", context, status=status)


def _back_to(stop: SentStop) -> HttpResponse:
    response = redirect("dispatch:crew_today")
    response["Location"] += f"#stop-{stop.pk}"
    return response
