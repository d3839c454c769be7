"""The list of customers, one customer, and changing them."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.forms import ModelForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from jobs.customers import services
from jobs.customers.forms import ConsentForm, CustomerForm, SearchForm
from jobs.customers.models import Customer, Purpose
from jobs.customers.selectors import became_of, consent_list, consent_now, customer_get, customer_list
from jobs.customers.words import event_words
from jobs.reminders.services import opt_out_record
from shared import clock
from shared.errors import WalldayError
from shared.events.selectors import event_list
from shared.outbox.models import Channel
from shared.people.roles import office_required
from shared.web.htmx import render_page

PER_PAGE = 50


@require_GET
@office_required
def customers(request: HttpRequest) -> HttpResponse:
    """Every customer by name, found by words."""
    form = SearchForm(request.GET)
    words = form.cleaned_data["words"] if form.is_valid() else ""
    page = Paginator(customer_list(words=words), PER_PAGE).get_page(request.GET.get("page"))
    return render_page(request, "customers/customer_list.html", {"form": form, "page": page}, part="customer_rows")


@require_GET
@office_required
def customer(request: HttpRequest, customer_id: int) -> HttpResponse:
    """One customer: how to reach them, whether they may be written to, their properties.

    One that was merged into another leads there.
    """
    became = became_of(customer_id)
    if became is not None:
        messages.info(request, _("Customer #%(number)s is listed here now.") % {"number": customer_id})
        return redirect("customers:customer_page", customer_id=became)
    found = customer_get(pk=customer_id)
    answers = consent_now(customer=found)
    context = {
        "customer": found,
        "channels": [(value, label, answers.get(value)) for value, label in Channel.choices],
        "consents": consent_list(customer=found),
        "consent_form": ConsentForm(),
        "history": [(event, event_words(event)) for event in event_list(subject=found)[:20]],
    }
    return render(request, "customers/customer.html", context)


@require_http_methods(["GET", "POST"])
@office_required
def customer_new(request: HttpRequest) -> HttpResponse:
    """Take down a new customer."""
    form = CustomerForm(request.POST or None)
    if form.is_valid():
        made = saved(form, services.customer_create, actor=request.user, **form.cleaned_data)
        if made is not None:
            messages.success(request, _("The customer is taken down. Add the property."))
            return redirect("customers:property_new", customer_id=made.pk)
    return render(request, "customers/customer_form.html", {"form": form}, status=form_status(form))


@require_http_methods(["GET", "POST"])
@office_required
def customer_edit(request: HttpRequest, customer_id: int) -> HttpResponse:
    """Change what is known of a customer."""
    found = customer_get(pk=customer_id)
    form = CustomerForm(request.POST or None, instance=Customer.objects.get(pk=found.pk))
    if form.is_valid():
        done = saved(form, services.customer_update, customer=found, actor=request.user, **form.cleaned_data)
        if done is not None:
            messages.success(request, _("Saved."))
            return redirect("customers:customer_page", customer_id=found.pk)
    return render(request, "customers/customer_form.html", {"form": form, "customer": found}, status=form_status(form))


@require_POST
@office_required
def consent(request: HttpRequest, customer_id: int) -> HttpResponse:
    """Write down that the customer agreed, or no longer agrees, to be written to."""
    found, form = customer_get(pk=customer_id), ConsentForm(request.POST)
    if form.is_valid():
        consent_said(customer=found, actor=request.user, source="office", **form.cleaned_data)
        messages.success(request, _("Noted."))
    else:
        messages.error(request, _("Say which way of writing, and yes or no; the words have at most 500 characters."))
    return redirect("customers:customer_page", customer_id=found.pk)


def consent_said(
    *, customer: Customer, channel: str, purpose: str, given: bool, wording: str, source: str, actor: Any
) -> None:
    """A no ends what waits at once, for everybody at the address; about booked work it holds for this customer."""
    if given or purpose == Purpose.SERVICE:
        services.consent_record(
            customer=customer, channel=channel, purpose=purpose, given=given, wording=wording, source=source,
            actor=actor,
        )  # fmt: skip
        return
    opt_out_record(
        customer=customer, channel=channel, everything=False, purpose=purpose, wording=wording, source=source,
        now=clock.now(), actor=actor,
    )  # fmt: skip


def saved(form: ModelForm, service: Any, **fields: Any) -> Any:
    """What a service made of an accepted form; None, with its words in the form, where it refused."""
    try:
        return service(**fields)
    except WalldayError as error:
        form.add_error(None, error.message)
    except ValidationError as error:
        form.add_error(None, error.messages)  # type: ignore[arg-type]
    return None


def form_status(form: ModelForm) -> int:
    """422 for a form that was sent in and not accepted."""
    return 422 if form.errors else 200
