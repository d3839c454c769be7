"""The office's pages: the list, a new estimate, one estimate."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from jobs.customers.models import Property
from jobs.walkthroughs.selectors.places import place_facts
from jobs.work.models import Job
from pricing.catalogue.selectors import tax_on
from pricing.estimates.choices import OPEN, EstimateState
from pricing.estimates.forms import (
    ChangeForm,
    EstimateFilterForm,
    LineChangeFormSet,
    NewEstimateForm,
    OptionChangeFormSet,
    SendForm,
    TakeBackForm,
    ToldForm,
    wanted_formset,
)
from pricing.estimates.models import Estimate
from pricing.estimates.selectors import ends_soon, estimate_get, estimate_list, is_over, option_views
from pricing.estimates.views.gathering import make, reckon, suggested
from pricing.estimates.words import event_words
from shared.errors import WalldayError
from shared.events.selectors import event_list
from shared.people.roles import office_required
from shared.web.htmx import render_page
from shared.web.present import company_now, today_here
from shared.web.words import money_words

PER_PAGE = 50


@require_GET
@office_required
def estimates(request: HttpRequest) -> HttpResponse:
    """Every estimate, newest first, by state and by words."""
    form, today = EstimateFilterForm(request.GET), today_here()
    wanted = form.cleaned_data if form.is_valid() else {}
    found = estimate_list(state=wanted.get("state", ""), words=wanted.get("words", ""), today=today)
    page = Paginator(found, PER_PAGE).get_page(request.GET.get("page"))
    rows = [_row(estimate, today) for estimate in page]
    return render_page(
        request, "estimates/estimate_list.html", {"form": form, "page": page, "rows": rows}, part="estimate_rows"
    )


def _row(estimate: Estimate, today: Any) -> dict[str, Any]:
    views = option_views(estimate)
    return {
        "estimate": estimate,
        "views": views,
        "is_over": is_over(estimate, today),
        "ends_soon": ends_soon(estimate, today),
    }


@require_http_methods(["GET", "POST"])
@office_required
def new_for_job(request: HttpRequest, job_id: int) -> HttpResponse:
    """For a lead; work that was found on a later job becomes a lead of its own."""
    job = Job.objects.select_related("property__customer").filter(pk=job_id).first()
    if job is None:
        raise Http404
    return _new(request, job.property, job)


@require_http_methods(["GET", "POST"])
@office_required
def new_for_property(request: HttpRequest, property_id: int) -> HttpResponse:
    """For somebody who asks: the lead is taken down with it."""
    place = Property.objects.select_related("customer").filter(pk=property_id, joined_into__isnull=True).first()
    if place is None:
        raise Http404
    return _new(request, place, None)


def _new(request: HttpRequest, place: Property, job: Job | None) -> HttpResponse:
    facts = place_facts(place=place, job=job)
    if request.method == "GET":
        first = {"tax_millionths": tax_on(on=today_here()), "access": facts.access, "soil": facts.soil}
        form = NewEstimateForm(initial=first)
        return _new_page(request, place, job, form, wanted_formset(facts, suggested=suggested(place, facts, job)))
    form, lines = NewEstimateForm(request.POST), wanted_formset(facts, data=request.POST)
    if not (form.is_valid() and lines.is_valid()):
        return _new_page(request, place, job, form, lines, status=422)
    data = form.cleaned_data
    try:
        calculation = reckon(
            place,
            [line.wanted for line in lines if line.wanted],
            tax_millionths=data["tax_millionths"],
            job=job,
            access=data["access"],
            soil=data["soil"],
        )
        estimate = make(
            place, calculation, job=job, actor=request.user, valid_until=data["valid_until"], note=data["note"]
        )
    except WalldayError as error:
        form.add_error(None, error.message)
        return _new_page(request, place, job, form, lines, status=error.status)
    messages.success(request, _("The estimate is made. Look at its figures, then send it."))
    return redirect("estimates:estimate_page", estimate_id=estimate.pk)


def _new_page(
    request: HttpRequest, place: Property, job: Job | None, form: Any, lines: Any, *, status: int = 200
) -> HttpResponse:
    context = {"place": place, "job": job, "form": form, "lines": lines}
    return render(request, "estimates/estimate_new.html", context, status=status)


@require_GET
@office_required
def estimate(request: HttpRequest, estimate_id: int) -> HttpResponse:
    """One estimate: its options and why they cost what they cost, what was sent, what was answered."""
    return render(request, "estimates/estimate.html", estimate_context(estimate_get(pk=estimate_id)))


def estimate_context(row: Estimate, **forms: Any) -> dict[str, Any]:
    """What the page of an estimate shows; `forms` replace the fresh ones where a post was not accepted."""
    sendings = list(row.sendings.select_related("sent_by").prefetch_related("prints", "messages__message"))
    today = today_here()
    version = {"version": row.version}
    return {
        **_row(row, today),
        "lines": list(row.lines.all()),
        "sendings": sendings,
        "answer": getattr(row, "answer", None),
        "is_open": row.state in OPEN,
        "is_waiting": row.state == EstimateState.SENT and not is_over(row, today),
        "history": [(event, event_words(event.kind), changed_words(event)) for event in event_list(subject=row)],
        "send_form": SendForm(initial=version),
        "take_back_form": TakeBackForm(initial=version, prefix="back"),
        "told_form": ToldForm(initial={"typed_name": row.customer_name}, prefix="told", choices=_choices(sendings)),
        **_change_forms(row),
        **forms,
    }


def _choices(sendings: list[Any]) -> Any:
    prints = [row for sent in sendings[:1] for row in sent.prints.all() if row.language == "en"]
    return prints[0].choices if prints else ()


def changed_words(event: Any) -> list[str]:
    """`line 2 price: $1,565.00 → $1,800.00`, as the history shows it."""
    return [_changed(*difference) for difference in event.data.get("changed", ())]


def _changed(what: str, before: Any, after: Any) -> str:
    if what.endswith("_cents"):
        currency = company_now().currency
        before, after = money_words(before, currency), money_words(after, currency)
    return f"{what.removesuffix('_cents').replace('_', ' ')}: {before} → {after}"


def _change_forms(row: Estimate) -> dict[str, Any]:
    lines = [
        {"line_id": line.pk, "minutes": line.minutes, "materials_cents": line.materials_cents,
         "price_cents": line.price_cents}
        for line in row.lines.all()
    ]  # fmt: skip
    options = [
        {"option_id": option.pk, "name": option.name, "discount_cents": option.discount_cents}
        for option in row.options.all()
    ]
    fields = ("version", "drive_minutes", "valid_until", "tax_millionths", "note")
    return {
        "change_form": ChangeForm(initial={name: getattr(row, name) for name in fields}, prefix="change"),
        "line_forms": LineChangeFormSet(initial=lines, prefix="lines"),
        "option_forms": OptionChangeFormSet(initial=options, prefix="options"),
    }
