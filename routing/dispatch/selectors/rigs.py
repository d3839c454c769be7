"""Trucks with what they wash with."""

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from routing.plans.models import Truck
from shared.errors import NotFound


def truck_list() -> QuerySet[Truck]:
    """Every truck with its yard, its crews and its rig, where one was measured."""
    return Truck.objects.select_related("yard", "rig").prefetch_related("crews").order_by("code")


def truck_get(*, code: str) -> Truck:
    """Raises NotFound."""
    row = truck_list().filter(code=code).first()
    if row is None:
        raise NotFound(_("There is no such truck."))
    return row
