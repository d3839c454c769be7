"""Properties that no route can reach, and giving each a place."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from jobs.customers import geocoder, services
from jobs.customers.forms import PlaceForm
from jobs.customers.models import AddressLookup, LookupOutcome, Property
from jobs.customers.selectors import lookup_of, neighbours_of, properties_without_place, property_get
from jobs.customers.views.customers import form_status, saved
from shared.errors import WalldayError
from shared.people.roles import office_required
from shared.web.maps import Mark, Shape

PER_PAGE = 50


@require_GET
@office_required
def without_place(request: HttpRequest) -> HttpResponse:
    """The list to fix: every property without a place, those with open jobs first."""
    page = Paginator(properties_without_place(), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "customers/without_place.html", {"page": page, "register": geocoder.is_on()})


@require_http_methods(["GET", "POST"])
@office_required
def place_edit(request: HttpRequest, property_id: int) -> HttpResponse:
    """Set where a property is by hand, or choose among the register's answers."""
    found = property_get(pk=property_id)
    form = PlaceForm(request.POST or None, instance=Property.objects.get(pk=found.pk))
    if form.is_valid():
        done = saved(form, services.property_update, place=found, actor=request.user, **form.cleaned_data)
        if done is not None:
            messages.success(request, _("Saved."))
            return redirect("customers:property_page", property_id=found.pk)
    lookup = lookup_of(found)
    context = {
        "form": form,
        "place": found,
        "lookup": lookup,
        "register": geocoder.is_on(),
        "attribution": geocoder.ATTRIBUTION,
        "marks": _marks(found, lookup),
    }
    return render(request, "customers/place_form.html", context, status=form_status(form))


def _marks(place: Property, lookup: AddressLookup | None) -> list[Mark]:
    """For the map: the properties around, and the register's answers by their number in the list."""
    near = [
        Mark(each.latitude, each.longitude, each.street, shape=Shape.DOT, legend=_("other properties"))
        for each in neighbours_of(place)
        if each.latitude is not None and each.longitude is not None
    ]
    offered = lookup.candidates if lookup and not place.has_place else []
    return near + [
        Mark(each["latitude"], each["longitude"], each["text"], str(number), shape=Shape.STOP, legend=_("answers"))
        for number, each in enumerate(offered, start=1)
    ]


@require_POST
@office_required
def place_look_up(request: HttpRequest, property_id: int) -> HttpResponse:
    """Ask the address register now."""
    found = property_get(pk=property_id)
    try:
        outcome = services.place_find(place=found, actor=request.user).outcome
    except WalldayError as error:
        messages.error(request, error.message)
        return redirect("customers:place_edit", property_id=found.pk)
    if outcome == LookupOutcome.FOUND:
        messages.success(request, _("Found. Look whether the place is right."))
        return redirect("customers:property_page", property_id=found.pk)
    messages.warning(
        request,
        _("%(street)s: %(outcome)s.")
        % {
            "street": found.street,
            "outcome": LookupOutcome(outcome).label,
        },
    )
    return redirect("customers:place_edit", property_id=found.pk)


@require_POST
@office_required
def place_take(request: HttpRequest, property_id: int, number: int) -> HttpResponse:
    """Take one of the register's answers."""
    found = property_get(pk=property_id)
    try:
        services.place_take(place=found, number=number, actor=request.user)
    except WalldayError as error:
        messages.error(request, error.message)
        return redirect("customers:place_edit", property_id=found.pk)
    messages.success(request, _("Saved."))
    return redirect("customers:property_page", property_id=found.pk)
