"""The list of properties, one property with its walls, history and intervals, and changing them."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from jobs.customers import services
from jobs.customers.forms import PropertyForm, SearchForm, WallForm
from jobs.customers.models import Property, Wall
from jobs.customers.selectors import (
    customer_get,
    joined_entries,
    properties_without_place,
    property_get,
    property_list,
    twins_of,
    wall_area_sqft,
    wall_get,
)
from jobs.customers.views.customers import form_status, saved
from jobs.walkthroughs.selectors import latest_readings
from jobs.work.models import ServiceInterval
from jobs.work.selectors import job_list, service_history
from shared.people.roles import office_required
from shared.web.htmx import render_page

PER_PAGE = 50
HISTORY = 30


@require_GET
@office_required
def properties(request: HttpRequest) -> HttpResponse:
    """Every property by street, found by words."""
    form = SearchForm(request.GET)
    words = form.cleaned_data["words"] if form.is_valid() else ""
    page = Paginator(property_list(words=words), PER_PAGE).get_page(request.GET.get("page"))
    context = {"form": form, "page": page, "without_place": properties_without_place().count()}
    return render_page(request, "customers/property_list.html", context, part="property_rows")


@require_GET
@office_required
def place(request: HttpRequest, property_id: int) -> HttpResponse:
    """One property: access, walls with their chalk, what was done and what is due.

    A row that was joined with another of the same house leads there.
    """
    became = Property.objects.filter(pk=property_id).values_list("joined_into", flat=True).first()
    if became is not None:
        return redirect("customers:property_page", property_id=became)
    found = property_get(pk=property_id)
    walls = list(found.walls.all())
    readings = latest_readings([wall.pk for wall in walls])
    context: dict[str, Any] = {
        "place": found,
        "walls": [(wall, readings.get(wall.pk)) for wall in walls],
        "area_sqft": wall_area_sqft(walls),
        "jobs": job_list().filter(property=found).exclude(state="done"),
        "history": service_history(property=found)[:HISTORY],
        "twins": twins_of(found),
        "entries": joined_entries(found),
        "intervals": ServiceInterval.objects.filter(property=found).select_related("service"),
    }
    return render(request, "customers/property.html", context)


@require_http_methods(["GET", "POST"])
@office_required
def property_new(request: HttpRequest, customer_id: int) -> HttpResponse:
    """Add a property of a customer."""
    customer = customer_get(pk=customer_id)
    form = PropertyForm(request.POST or None)
    if form.is_valid():
        made = saved(form, services.property_create, customer=customer, actor=request.user, **form.cleaned_data)
        if made is not None:
            services.place_find_later(place=made)
            messages.success(request, _("The property is taken down."))
            return redirect("customers:property_page", property_id=made.pk)
    context = {"form": form, "customer": customer}
    return render(request, "customers/property_form.html", context, status=form_status(form))


@require_http_methods(["GET", "POST"])
@office_required
def property_edit(request: HttpRequest, property_id: int) -> HttpResponse:
    """Change what is known of a property."""
    found = property_get(pk=property_id)
    form = PropertyForm(request.POST or None, instance=Property.objects.get(pk=found.pk))
    if form.is_valid():
        done = saved(form, services.property_update, place=found, actor=request.user, **form.cleaned_data)
        if done is not None:
            services.place_find_later(place=done)
            messages.success(request, _("Saved."))
            return redirect("customers:property_page", property_id=found.pk)
    context = {"form": form, "place": found, "customer": found.customer}
    return render(request, "customers/property_form.html", context, status=form_status(form))


@require_http_methods(["GET", "POST"])
@office_required
def wall_new(request: HttpRequest, property_id: int) -> HttpResponse:
    """Add a wall of a property."""
    found = property_get(pk=property_id)
    form = WallForm(request.POST or None, instance=Wall(property=found), initial={"storeys": found.storeys})
    if form.is_valid():
        made = saved(form, services.wall_create, place=found, actor=request.user, **form.cleaned_data)
        if made is not None:
            messages.success(request, _("The wall is taken down."))
            return redirect("customers:property_page", property_id=found.pk)
    return render(request, "customers/wall_form.html", {"form": form, "place": found}, status=form_status(form))


@require_http_methods(["GET", "POST"])
@office_required
def wall_edit(request: HttpRequest, wall_id: int) -> HttpResponse:
    """Change what is known of a wall."""
    wall = wall_get(pk=wall_id)
    form = WallForm(request.POST or None, instance=Wall.objects.get(pk=wall.pk))
    if form.is_valid():
        done = saved(form, services.wall_update, wall=wall, actor=request.user, **form.cleaned_data)
        if done is not None:
            messages.success(request, _("Saved."))
            return redirect("customers:property_page", property_id=wall.property_id)
    context = {"form": form, "place": wall.property, "wall": wall}
    return render(request, "customers/wall_form.html", context, status=form_status(form))
