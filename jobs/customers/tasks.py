"""Addresses that are looked up in the background."""

from jobs.customers import geocoder
from jobs.customers.errors import LookupFailed
from jobs.customers.models import Property
from jobs.customers.services import place_find, places_find
from shared.background.registry import background_task
from shared.errors import Conflict

AT_A_TIME = 15  # a quarter of a minute at the pace of one a second, so that other work is not kept waiting


@background_task("customers.find_place")
def find_place(property_id: int) -> None:
    place = Property.objects.filter(pk=property_id).first()
    if place is None or place.has_place:
        return
    try:
        place_find(place=place)
    except (LookupFailed, Conflict):
        return  # noted with the property, or no longer wanted; the list of properties without a place shows it


@background_task("customers.find_places")
def find_places() -> None:
    if geocoder.is_on():
        places_find(limit=AT_A_TIME)
