"""One house that was entered twice for its customer, and making one of the two entries."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from jobs.customers.selectors import property_get, property_list, twins_of
from jobs.customers.services import one_house, one_house_plan
from shared import clock
from shared.errors import WalldayError
from shared.people.roles import office_required


@require_GET
@office_required
def choose(request: HttpRequest, property_id: int) -> HttpResponse:
    """Which entry is the same house: the customer's others, those with the same address first."""
    keep = property_get(pk=property_id)
    alike = twins_of(keep)
    others = sorted(
        property_list().filter(customer=keep.customer).exclude(pk=keep.pk), key=lambda place: place.pk not in alike
    )
    return render(request, "customers/join_choose.html", {"keep": keep, "others": others, "alike": alike})


@require_http_methods(["GET", "POST"])
@office_required
def join(request: HttpRequest, keep_id: int, other_id: int) -> HttpResponse:
    """What making one of the two entries would do, and the button that does it."""
    keep, other = property_get(pk=keep_id), property_get(pk=other_id)
    problem, status = "", 200
    if request.method == "POST":
        sure = request.POST.get("sure") == "yes"
        try:
            one_house(keep=keep, other=other, sure=sure, actor=request.user, now=clock.now())
        except WalldayError as error:
            problem, status = error.message, error.status
        else:
            messages.success(request, _("The two entries are one house now."))
            return redirect("customers:property_page", property_id=keep.pk)
    context = {"plan": one_house_plan(keep=keep, other=other), "problem": problem}
    return render(request, "customers/join.html", context, status=status)
