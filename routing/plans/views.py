"""Pages of the day: today, the day plan with its changes by hand, the crews and their hours."""

from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from routing.plans import services
from routing.plans.choices import FIRST_DAY, LAST_DAY, CrewNews
from routing.plans.forms import ChangeForm, CrewNewsForm, DateForm, PlanForm, ShiftExceptionForm, WeekForm
from routing.plans.models import Crew, DayPlan, PlanRun, Yard
from routing.plans.selectors import (
    day_plan_by_id,
    day_plan_get,
    day_to_show,
    plan_run_latest,
    working_days_around,
    yard_by_code,
    yard_list,
)
from routing.plans.selectors.crews import crews_page
from routing.plans.selectors.history import plan_history
from routing.plans.selectors.learning import LEARNING_DAYS, yard_drives
from routing.plans.selectors.moves import moves_since_sent
from routing.plans.selectors.page import plan_on_page
from routing.plans.selectors.today import today_page
from routing.plans.selectors.weeks import week_of, week_on_page, week_plan_by_id, week_plan_latest
from routing.plans.services.learning import learnt_drives_use
from shared import clock
from shared.errors import WalldayError
from shared.people.roles import office_required, owner_required, signed_in
from shared.web.htmx import is_partial, render_page
from shared.web.words import money_words


@require_GET
@signed_in
def today(request: HttpRequest) -> HttpResponse:
    """The three moments of the day: routes, kinds of job below the target, who is due."""
    if getattr(request.user, "is_crew_lead", False):
        return redirect("/crew/")
    return render(request, "plans/today.html", {"today": today_page(now=clock.now())})


@require_GET
@office_required
def day_today(request: HttpRequest) -> HttpResponse:
    """To the present day of the first yard, or on a day off to the next one on which a crew works."""
    yard = yard_list().first()
    if yard is None:
        return render(request, "plans/no_yard.html")
    return redirect(day_url(yard, day_to_show(yard=yard, today=clock.local_date(yard.timezone, clock.now()))))


@require_GET
@office_required
def day(request: HttpRequest, yard_code: str, work_date: date) -> HttpResponse:
    """One yard's day: the plan, what is left out, and the buttons to change it."""
    yard = yard_by_code(code=yard_code)
    form = DateForm(request.GET) if "day" in request.GET else None
    if form is not None and form.is_valid():
        return redirect(day_url(yard, form.cleaned_data["day"]))
    context = _day_context(yard, work_date)
    if context["page"]:
        services.replan_get_ready(plan=context["page"].plan, now=clock.now())
    return render_page(request, "plans/day.html", context, part="plan")


@require_POST
@office_required
def day_make(request: HttpRequest, yard_code: str, work_date: date) -> HttpResponse:
    """Have the day planned in the background; the page then shows how far it is."""
    yard = yard_by_code(code=yard_code)
    form = PlanForm(request.POST)
    if not form.is_valid():
        context = {**_day_context(yard, work_date), "plan_form": form}
        return render(request, "plans/day.html", context, status=422)
    services.plan_run_request(yard=yard, work_date=work_date, actor=request.user, **form.cleaned_data)
    return redirect(day_url(yard, work_date))


@require_GET
@office_required
def run(request: HttpRequest, run_id: int) -> HttpResponse:
    """How far a planning run is. Once it has ended, the page is loaded anew."""
    found = get_object_or_404(PlanRun.objects.select_related("yard"), pk=run_id)
    url = day_url(found.yard, found.work_date)
    if not is_partial(request):
        return redirect(url)
    if found.is_finished:
        return HttpResponse(headers={"HX-Redirect": url})
    return render(request, "plans/parts/run.html", {"run": found})


@require_POST
@office_required
def change(request: HttpRequest, plan_id: int) -> HttpResponse:
    """One change by hand. What breaks a rule is answered in words on the same page, and nothing is saved."""
    before = day_plan_by_id(plan_id=plan_id)
    form = ChangeForm(request.POST)
    status, changed_job = 422, None
    if not form.is_valid():
        messages.warning(request, _("This change was not understood. Nothing was saved."))
    else:
        changed_job = form.cleaned_data["job"]
        try:
            after = services.plan_change(plan_id=plan_id, actor=request.user, **form.change())
            messages.success(request, _changed_words(before, after))
            status = 200
        except WalldayError as error:
            messages.warning(request, error.message)
            status = error.status
    if status == 200 and not is_partial(request):
        return redirect(f"{day_url(before.yard, before.work_date)}#job-{changed_job}")
    context = {**_day_context(before.yard, before.work_date), "changed_job": changed_job}
    return render_page(request, "plans/day.html", context, part="plan", status=status)


@require_POST
@office_required
def replan(request: HttpRequest, plan_id: int) -> HttpResponse:
    """A crew drops out or starts late: the rest of the day is planned again at once."""
    before = day_plan_by_id(plan_id=plan_id)
    form = CrewNewsForm(request.POST)
    status = 422
    if not form.is_valid():
        messages.warning(request, _("Say which crew, what happened and at what hour. Nothing was saved."))
    else:
        data = form.cleaned_data
        news = services.News(data["crew"], data["kind"], data["at"])
        try:
            after = services.day_replan(
                plan_id=plan_id, news=news, expected_version=data["version"], actor=request.user
            )
            messages.success(request, _changed_words(before, after))
            return redirect(day_url(before.yard, before.work_date))
        except WalldayError as error:
            messages.warning(request, error.message)
            status = error.status
    return render(request, "plans/day.html", _day_context(before.yard, before.work_date), status=status)


@require_GET
@office_required
def week(request: HttpRequest, yard_code: str, first_day: date) -> HttpResponse:
    """A yard's week: the days side by side as they are proposed, and what is left out."""
    return render(request, "plans/week.html", _week_context(yard_by_code(code=yard_code), first_day))


@require_POST
@office_required
def week_make(request: HttpRequest, yard_code: str, first_day: date) -> HttpResponse:
    """Have the week planned in the background; nothing of its days changes."""
    yard = yard_by_code(code=yard_code)
    form = WeekForm(request.POST)
    status = 422
    if form.is_valid():
        try:
            services.week_plan_request(yard=yard, day=first_day, actor=request.user, **form.cleaned_data)
            return redirect("plans:week", yard.code, first_day)
        except WalldayError as error:
            messages.warning(request, error.message)
            status = error.status
    return render(request, "plans/week.html", {**_week_context(yard, first_day), "form": form}, status=status)


@require_GET
@office_required
def week_progress(request: HttpRequest, week_id: int) -> HttpResponse:
    """How far a week plan is. Once it has ended, the page is loaded anew."""
    found = week_plan_by_id(week_id=week_id)
    url = reverse("plans:week", args=[found.yard.code, found.first_day])
    if not is_partial(request):
        return redirect(url)
    if not found.is_working:
        return HttpResponse(headers={"HX-Redirect": url})
    return render(request, "plans/parts/week_progress.html", {"week": found})


@require_POST
@office_required
def week_take_over(request: HttpRequest, week_id: int) -> HttpResponse:
    """Have the proposed days made into day plans."""
    found = week_plan_by_id(week_id=week_id)
    try:
        services.week_take_over_request(week_id=week_id, actor=request.user)
    except WalldayError as error:
        messages.warning(request, error.message)
    return redirect("plans:week", found.yard.code, found.first_day)


@require_GET
@owner_required
def drives(request: HttpRequest) -> HttpResponse:
    """How long drives really took, by yard and hours, and whether plans use it."""
    return render(request, "plans/drives.html", {"yards": yard_drives(yard_list()), "days": LEARNING_DAYS})


@require_POST
@owner_required
def drives_use(request: HttpRequest, yard_code: str) -> HttpResponse:
    """Use what was learnt for a yard, or not."""
    yard, use = yard_by_code(code=yard_code), request.POST.get("use") == "yes"
    learnt_drives_use(yard=yard, use=use, actor=request.user)
    messages.success(request, _("New plans use what was learnt.") if use else _("New plans do not use it."))
    return redirect("plans:drives")


@require_http_methods(["GET", "POST"])
@office_required
def crew_list(request: HttpRequest) -> HttpResponse:
    """The crews: skills, truck, hours of the coming two weeks. A POST sets a day off or other hours for one."""
    form = ShiftExceptionForm(request.POST or None)
    wanted = request.POST.get("crew", "")
    if request.method == "POST":
        crew = get_object_or_404(Crew, code=wanted)
        if form.is_valid() and _set_hours(crew, form, request.user):
            messages.success(request, _("%(crew)s: hours saved.") % {"crew": crew.name})
            return redirect("plans:crew_list")
    status = 422 if request.method == "POST" else 200
    context = {"page": crews_page(now=clock.now()), "form": form, "wanted": wanted}
    return render(request, "plans/crews.html", context, status=status)


@require_POST
@office_required
def crew_usual_hours(request: HttpRequest, crew_code: str, work_date: date) -> HttpResponse:
    """Back to the crew's usual hours on a day."""
    crew = get_object_or_404(Crew, code=crew_code)
    services.shift_exception_clear(crew=crew, work_date=work_date, actor=request.user)
    messages.success(request, _("%(crew)s: usual hours again.") % {"crew": crew.name})
    return redirect("plans:crew_list")


def day_url(yard: Yard, work_date: date) -> str:
    return reverse("plans:day", args=[yard.code, work_date])


def _set_hours(crew: Crew, form: ShiftExceptionForm, actor: Any) -> bool:
    data = form.cleaned_data
    try:
        services.shift_exception_set(
            crew=crew,
            work_date=data["work_date"],
            is_off=data["is_off"],
            hours=form.hours(),
            reason=data["reason"],
            actor=actor,
        )
    except ValidationError as error:
        form.add_error(None, error.messages)
        return False
    return True


def _day_context(yard: Yard, work_date: date) -> dict[str, Any]:
    plan = day_plan_get(yard=yard, work_date=work_date)
    before, after = working_days_around(yard=yard, work_date=work_date)
    return {
        "yard": yard,
        "yards": yard_list(),
        "work_date": work_date,
        "before": before,
        "after": after,
        "page": plan_on_page(plan) if plan else None,
        "history": plan_history(plan) if plan else (),
        "run": plan_run_latest(yard=yard, work_date=work_date),
        "moves": moves_since_sent(plan) if plan else (),
        "news_kinds": CrewNews.choices,
        "plan_form": PlanForm(initial={"seconds": settings.WALLDAY_PLAN_SECONDS}),
    }


def _week_context(yard: Yard, first_day: date) -> dict[str, Any]:
    days = week_of(first_day)
    found = week_plan_latest(yard=yard, first_day=first_day)
    return {
        "yard": yard,
        "first_day": days[0],
        "last_day": days[-1],
        "before": max(FIRST_DAY, days[0] - timedelta(days=7)),
        "after": min(LAST_DAY, days[0] + timedelta(days=7)),
        "week": found,
        "page": week_on_page(yard=yard, first_day=first_day, week=found),
        "form": WeekForm(initial={"seconds": 2 * settings.WALLDAY_PLAN_SECONDS}),
    }


def _changed_words(before: DayPlan, after: DayPlan) -> str:
    more = after.value_cents - before.value_cents
    if abs(more) < 1:
        return _("Saved. The plan is worth as much as before.")
    text = _("Saved. The plan is worth %(money)s more.") if more > 0 else _("Saved. The plan is worth %(money)s less.")
    return text % {"money": money_words(abs(more))}
