"""Entries that may be the same customer, and making one of two."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from jobs.customers.forms import SearchForm
from jobs.customers.selectors import customer_get, customer_list, lookalikes, twin_list
from jobs.customers.services import customer_merge, customers_tell_apart, merge_plan
from shared import clock
from shared.errors import WalldayError
from shared.people.roles import office_required

PER_PAGE = 50


@require_GET
@office_required
def alike(request: HttpRequest) -> HttpResponse:
    """Pairs that share a number, a mail address or a house, and houses entered twice; a person decides."""
    page = Paginator(lookalikes(), PER_PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "twins": twin_list() if page.number == 1 else ()}
    return render(request, "customers/alike.html", context)


@require_POST
@office_required
def apart(request: HttpRequest, first_id: int, second_id: int) -> HttpResponse:
    """These two are two customers: the list forgets them."""
    one, two = customer_get(pk=first_id), customer_get(pk=second_id)
    customers_tell_apart(one=one, two=two, actor=request.user, now=clock.now())
    messages.success(request, _("They stay two customers."))
    return redirect("customers:alike")


@require_GET
@office_required
def choose(request: HttpRequest, keep_id: int) -> HttpResponse:
    """Which entry is the same customer as this one: those that look alike, or found by words."""
    keep, form = customer_get(pk=keep_id), SearchForm(request.GET)
    words = form.cleaned_data["words"] if form.is_valid() else ""
    found = customer_list(words=words).exclude(pk=keep.pk)[:PER_PAGE] if words else ()
    context = {"keep": keep, "form": form, "found": found, "looks": lookalikes(customer=keep), "words": words}
    return render(request, "customers/merge_choose.html", context)


@require_http_methods(["GET", "POST"])
@office_required
def merge(request: HttpRequest, keep_id: int, other_id: int) -> HttpResponse:
    """What merging the two would move, and the button that does it."""
    keep, other = customer_get(pk=keep_id), customer_get(pk=other_id)
    problem, status = "", 200
    if request.method == "POST":
        try:
            customer_merge(keep=keep, other=other, actor=request.user, now=clock.now())
        except WalldayError as error:
            problem, status = error.message, error.status
        else:
            messages.success(request, _("The two entries are one now."))
            return redirect("customers:customer_page", customer_id=keep.pk)
    context = {"plan": merge_plan(keep=keep, other=other), "problem": problem}
    return render(request, "customers/merge.html", context, status=status)
