"""Sending out, what was sent, route sheets, the calendar feed."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from routing.dispatch.forms import SendOutForm, TellingForm
from routing.dispatch.pdf import sheet_pdf
from routing.dispatch.selectors.calendar import calendar_of, feed_by_token
from routing.dispatch.selectors.sent import crew_feeds, sent_plan_list
from routing.dispatch.selectors.sheets import sheet_of_route
from routing.dispatch.selectors.telling import stops_to_tell, telling_settings_get, told_in_vain
from routing.dispatch.services import feed_renew, plan_send_out, plan_tell, telling_settings_set
from routing.dispatch.sheet import Sheet
from routing.dispatch.words import changes_by_crew, version_words
from routing.plans.models import Crew
from routing.plans.selectors import day_plan_by_id
from shared import clock
from shared.errors import WalldayError
from shared.outbox.services import dispatch_soon
from shared.people.roles import office_required
from shared.web.answers import pdf_answer


@require_POST
@office_required
def send_out(request: HttpRequest, plan_id: int) -> HttpResponse:
    """Freeze the plan as its next version; what stands in the way is said on the day's page."""
    plan, form = day_plan_by_id(plan_id=plan_id), SendOutForm(request.POST)
    try:
        version = form.cleaned_data["version"] if form.is_valid() else 0
        sent = plan_send_out(plan=plan, expected_version=version, actor=request.user)
    except WalldayError as error:
        messages.error(request, error.message)
        return redirect(f"/day/{plan.yard.code}/{plan.work_date.isoformat()}/")
    messages.success(request, _("Sent out: %(version)s.") % {"version": version_words(sent.number)})
    return redirect("dispatch:sent", plan_id=plan.pk)


@require_GET
@office_required
def sent(request: HttpRequest, plan_id: int) -> HttpResponse:
    """Every version of a day with what changed, the sheets, and the crews' calendar addresses."""
    plan = day_plan_by_id(plan_id=plan_id)
    day, zone = plan.work_date, plan.yard.timezone
    versions = [(row, changes_by_crew(row.changes, day=day, zone=zone)) for row in sent_plan_list(plan=plan)]
    feeds = crew_feeds(yard=plan.yard)
    context = {
        "plan": plan,
        "versions": versions,
        "feeds": feeds,
        "to_tell": stops_to_tell(plan=plan, now=clock.now()),
        "in_vain": told_in_vain(plan=plan),
        "telling_form": TellingForm(instance=telling_settings_get()),
    }
    return render(request, "dispatch/sent.html", context)


@require_POST
@office_required
def tell(request: HttpRequest, plan_id: int) -> HttpResponse:
    """Tell the customers of a day now, without waiting for the hour of the day before."""
    plan = day_plan_by_id(plan_id=plan_id)
    count = plan_tell(plan=plan, now=clock.now(), at_once=True)
    dispatch_soon()
    said = ngettext("%(count)s message is written.", "%(count)s messages are written.", count)
    messages.success(request, said % {"count": count})
    return redirect("dispatch:sent", plan_id=plan.pk)


@require_POST
@office_required
def telling(request: HttpRequest, plan_id: int) -> HttpResponse:
    """Change whether and when customers are told."""
    form = TellingForm(request.POST, instance=telling_settings_get())
    if form.is_valid():
        telling_settings_set(actor=request.user, **form.cleaned_data)
        messages.success(request, _("Saved."))
    else:
        messages.error(request, _("Choose an hour from 8 to 20: nobody is written to at night."))
    return redirect("dispatch:sent", plan_id=plan_id)


@require_GET
@office_required
def sheet(request: HttpRequest, route_id: int) -> HttpResponse:
    """The route sheet as a page that can be printed."""
    context: dict[str, Any] = {
        "sheet": sheet_of_route(route_id=route_id),
        "pdf_url": reverse("dispatch:sheet_pdf", args=[route_id]),
    }
    context["mix_url"] = reverse("dispatch:mix_sheet", args=[route_id])
    return render(request, "dispatch/sheet.html", context)


@require_GET
@office_required
def sheet_as_pdf(request: HttpRequest, route_id: int) -> HttpResponse:
    """The route sheet as PDF."""
    return sheet_answer(sheet_of_route(route_id=route_id))


def sheet_answer(sheet: Sheet) -> HttpResponse:
    """The PDF of a sheet, called after crew and day."""
    return pdf_answer(sheet_pdf(sheet), name=f"{sheet.work_date.isoformat()}-{sheet.crew_code}")


@require_POST
@office_required
def feed_new(request: HttpRequest, crew_code: str) -> HttpResponse:
    """Give a crew a calendar address, in place of the old one where there was one."""
    crew = Crew.objects.filter(code=crew_code).first()
    if crew is None:
        raise Http404
    feed_renew(crew=crew, actor=request.user)
    messages.success(request, _("The crew has a new calendar address. An old one answers no more."))
    plan_id = request.POST.get("plan", "")
    return redirect("dispatch:sent", plan_id=int(plan_id)) if plan_id.isdecimal() else redirect("/")


@require_GET
@login_not_required
def calendar(request: HttpRequest, token: str) -> HttpResponse:
    """A crew's calendar feed. Whoever has the address may read it, nobody may search for it."""
    feed = feed_by_token(token=token)
    body = calendar_of(crew=feed.crew, now=clock.now())
    response = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    response["Cache-Control"] = "private, max-age=300"
    response["X-Robots-Tag"] = "noindex"
    return response
