"""The page of the traffic hours. The owner's."""

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.forms import BaseFormSet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from routing.plans.selectors.traffic import yard_traffic
from routing.roads.forms import TrafficFormSet, hours_of, shown
from routing.roads.selectors import road_map_current, traffic_hours, traffic_is_default, traffic_table
from routing.roads.services.traffic import traffic_hours_restore, traffic_hours_set
from shared import clock
from shared.errors import Refused, Stale
from shared.people.roles import owner_required


@require_http_methods(["GET", "HEAD", "POST"])
@owner_required
def traffic(request: HttpRequest) -> HttpResponse:
    """How much of the free speed traffic leaves, by hour and class of road; a POST puts another table in place."""
    if request.method != "POST":
        return _page(request, TrafficFormSet(initial=[shown(hours) for hours in traffic_hours()]))
    rows = TrafficFormSet(request.POST)
    if not rows.is_valid():
        return _page(request, rows, status=422)
    try:
        traffic_hours_set(hours=hours_of(rows), seen_version=_seen(request), actor=request.user)
    except (Refused, Stale) as error:
        return _page(request, rows, refused=error.message, status=error.status)
    messages.success(request, _("The traffic hours are stored. Plans that are made from now on use them."))
    return redirect("roads:traffic")


@require_POST
@owner_required
def traffic_restore(request: HttpRequest) -> HttpResponse:
    """Back to the starting values."""
    try:
        traffic_hours_restore(seen_version=_seen(request), actor=request.user)
    except Stale as error:
        messages.error(request, error.message)
    else:
        messages.success(request, _("The starting values are back."))
    return redirect("roads:traffic")


def _seen(request: HttpRequest) -> int:
    """The version that the page showed; 0, which is none, where it is not told."""
    told = request.POST.get("seen", "")
    return int(told) if told.isascii() and told.isdigit() and len(told) < 10 else 0


def _page(request: HttpRequest, rows: BaseFormSet, *, refused: str = "", status: int = 200) -> HttpResponse:
    context: dict[str, Any] = {
        "rows": rows,
        "refused": refused,
        "is_default": traffic_is_default(),
        "seen": traffic_table().version,
        "yards": yard_traffic(now=clock.now()),
        "has_roads": road_map_current() is not None,
        "has_server": bool(settings.WALLDAY_ROADS_URL),
    }
    return render(request, "roads/traffic.html", context, status=status)
