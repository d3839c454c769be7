"""Giving properties a place: by the address register, by one of its answers, or by hand.

The register is asked outside any transaction; what it answers is stored only if the address is still the one that
was asked for and nobody set a place meanwhile.
"""

import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.customers import geocoder
from jobs.customers.domain.address_match import Candidate, Finding, Outcome, best_match
from jobs.customers.errors import LookupFailed
from jobs.customers.models import AddressLookup, LookupOutcome, Property
from jobs.customers.selectors import properties_to_look_up
from shared import clock
from shared.background.services import enqueue
from shared.errors import Conflict, Refused
from shared.events.services import event_record

FIND_PLACE = "customers.find_place"


@dataclass(frozen=True, slots=True)
class Found:
    """How many addresses were looked up, by outcome."""

    found: int = 0
    unsure: int = 0
    nothing: int = 0
    failed: int = 0


def place_find_later(*, place: Property) -> None:
    """Look the address up in the background, where a register is set and the property has no place."""
    if geocoder.is_on() and not place.has_place:
        enqueue(FIND_PLACE, property_id=place.pk)


def place_find(*, place: Property, actor: Any = None) -> AddressLookup:
    """Ask the register for the property's address and take the answer where it is the house itself.

    Raises NoGeocoder, LookupFailed (noted with the property first), Conflict where the property changed meanwhile.
    """
    try:
        candidates = geocoder.candidates_for(place)
    except LookupFailed:
        _store(place, [], None, LookupOutcome.FAILED, actor)
        raise
    finding = best_match(candidates, street=place.street, postal_code=place.postal_code)
    return _store(place, candidates, finding, LookupOutcome(finding.outcome.value), actor)


def places_find(*, limit: int, pause: Callable[[float], None] = time.sleep) -> Found:
    """Look up to `limit` addresses up, one after the other at the pace that the setting allows.

    Stops at the first failure of the register itself, so that a register that is down is not asked again and again.
    Raises NoGeocoder where none is set.
    """
    outcomes: list[str] = []
    for place in properties_to_look_up()[:limit]:
        if outcomes:
            pause(settings.WALLDAY_GEOCODER_SECONDS)
        try:
            outcomes.append(place_find(place=place).outcome)
        except Conflict:
            continue
        except LookupFailed:
            outcomes.append(LookupOutcome.FAILED)
            break
    return Found(**{name: outcomes.count(name) for name in LookupOutcome.values})


@transaction.atomic
def place_take(*, place: Property, number: int, actor: Any) -> Property:
    """Take the register's answer with this number, counted from 0. Raises Conflict, Refused."""
    lookup = AddressLookup.objects.select_for_update().filter(property=place).first()
    if lookup is None:
        raise Conflict(_("The address changed since it was looked up. Look it up again."))
    if not 0 <= number < len(lookup.candidates):
        raise Refused(_("There is no such answer."))
    chosen = Candidate(**lookup.candidates[number])
    lookup.latitude, lookup.longitude, lookup.outcome = chosen.latitude, chosen.longitude, LookupOutcome.FOUND
    lookup.save()
    _set_place(place, chosen, actor)
    return place


@transaction.atomic
def _store(
    place: Property, candidates: list[Candidate], finding: Finding | None, outcome: LookupOutcome, actor: Any
) -> AddressLookup:
    now = Property.objects.select_for_update().get(pk=place.pk)
    if now.address != place.address or now.has_place:
        raise Conflict(_("The property was changed while its address was looked up."))
    chosen = finding.place if finding and finding.outcome == Outcome.FOUND else None
    lookup, _made = AddressLookup.objects.update_or_create(
        property=place,
        defaults={
            "address": place.address,
            "outcome": outcome,
            "candidates": [asdict(each) for each in candidates],
            "latitude": chosen.latitude if chosen else None,
            "longitude": chosen.longitude if chosen else None,
            "at": clock.now(),
        },
    )
    if chosen:
        _set_place(now, chosen, actor)
    return lookup


def _set_place(place: Property, chosen: Candidate, actor: Any) -> None:
    place.latitude, place.longitude = chosen.latitude, chosen.longitude
    place.save(update_fields=["latitude", "longitude"])
    event_record(kind="property.place_found", subject=place, actor=actor, data={"by": "address register"})
