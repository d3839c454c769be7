"""One customer, property, wall or consent at a time."""

from typing import Any, TypeVar

from django.db import IntegrityError, models, transaction
from django.utils.translation import gettext as _

from jobs.customers.models import AddressLookup, Consent, Customer, Property, Purpose, Wall
from shared import clock
from shared.background.services import enqueue
from shared.errors import Conflict, Refused
from shared.events.services import event_record

from .index import own_number

Row = TypeVar("Row", bound=models.Model)

CUSTOMER_FIELDS = frozenset(("reference", "name", "email", "phone_e164", "language", "source", "note"))
PROPERTY_FIELDS = frozenset((
    "reference", "street", "city", "region", "postal_code", "latitude", "longitude", "storeys", "year_built",
    "front_degrees",
    "gate_note", "pet_note", "note",
))  # fmt: skip
WALL_FIELDS = frozenset((
    "name", "kind", "material", "colour", "lightness_percent", "facing_degrees", "area_sqft", "storeys", "shade",
    "year_fitted", "old_paint",
))  # fmt: skip


@transaction.atomic
def customer_create(*, actor: Any, name: str, **fields: Any) -> Customer:
    """Add a customer. `fields` are those of CUSTOMER_FIELDS. Raises ValidationError, Conflict."""
    customer = Customer(created_at=clock.now())
    return _save(customer, {"name": name, **fields}, CUSTOMER_FIELDS, actor, "customer.created")


@transaction.atomic
def customer_update(*, customer: Customer, actor: Any, **fields: Any) -> Customer:
    """Change the given fields of a customer. Raises ValidationError, Conflict."""
    return _save(customer, fields, CUSTOMER_FIELDS, actor, "customer.changed")


@transaction.atomic
def property_create(*, customer: Customer, actor: Any, street: str, **fields: Any) -> Property:
    """Add a property of a customer. `fields` are those of PROPERTY_FIELDS. Raises ValidationError, Conflict."""
    place = Property(customer=customer)
    return _save(place, {"street": street, **fields}, PROPERTY_FIELDS, actor, "property.created")


@transaction.atomic
def property_update(*, place: Property, actor: Any, **fields: Any) -> Property:
    """Change the given fields of a property; the chalk of its walls is forecast anew where it rests on them.

    Raises ValidationError, Conflict.
    With another address a place that the address register gave is no longer true and is taken away.
    """
    before, light_before = place.address, _light_of(place)
    changed = _save(place, fields, PROPERTY_FIELDS, actor, "property.changed")
    if changed.address != before:
        _forget_lookup(changed)
    if _light_of(changed) != light_before:
        enqueue("chalking.forecast_property", property_id=changed.pk)
    return changed


def _light_of(place: Property) -> tuple[Any, ...]:
    """What the forecast of chalk takes from a property: how far north it lies, and since when its walls weather."""
    return place.latitude, place.year_built


def _forget_lookup(place: Property) -> None:
    lookup = AddressLookup.objects.filter(property=place).first()
    if lookup is None:
        return
    if place.has_place and (place.latitude, place.longitude) == (lookup.latitude, lookup.longitude):
        place.latitude = place.longitude = None
        place.save(update_fields=["latitude", "longitude"])
    lookup.delete()


@transaction.atomic
def wall_create(*, place: Property, actor: Any, name: str, **fields: Any) -> Wall:
    """Add a wall of a property; its chalk is forecast by the walls like it in the background.

    `fields` are those of WALL_FIELDS. Raises ValidationError, Conflict.
    """
    made = _save(Wall(property=place), {"name": name, **fields}, WALL_FIELDS, actor, "wall.created")
    enqueue("chalking.forecast_property", property_id=place.pk)
    return made


@transaction.atomic
def wall_update(*, wall: Wall, actor: Any, **fields: Any) -> Wall:
    """Change the given fields of a wall; its chalk is forecast anew in the background.

    Raises ValidationError, Conflict.
    """
    changed = _save(wall, fields, WALL_FIELDS, actor, "wall.changed")
    enqueue("chalking.forecast_property", property_id=changed.property_id)
    return changed


@transaction.atomic
def consent_record(
    *,
    customer: Customer,
    channel: str,
    given: bool,
    source: str,
    actor: Any = None,
    purpose: str = Purpose.ALL,
    wording: str = "",
) -> Consent:
    """Write down that a customer agreed, or no longer agrees, to be written to.

    History is kept: a change of mind is a further row. Raises ValidationError.
    """
    consent = Consent(
        customer=customer,
        channel=channel,
        purpose=purpose,
        given=given,
        wording=wording,
        source=source,
        at=clock.now(),
        recorded_by=actor,
    )
    consent.full_clean()
    consent.save()
    kind = "consent.given" if given else "consent.withdrawn"
    event_record(kind=kind, subject=customer, actor=actor, data={"channel": channel, "purpose": purpose})
    return consent


def _save(row: Row, fields: dict[str, Any], allowed: frozenset[str], actor: Any, kind: str) -> Row:
    unknown = fields.keys() - allowed
    if unknown:
        raise Refused(_("Unknown fields: %(names)s.") % {"names": ", ".join(sorted(unknown))})
    if "reference" in fields:
        fields["reference"] = _own_reference(fields["reference"])
    changed = [name for name, value in fields.items() if getattr(row, name) != value]
    if not changed and row.pk:
        return row
    for name in changed:
        setattr(row, name, fields[name])
    row.full_clean()
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as error:
        raise Conflict(_("Somebody else saved the same just now. Look again, then repeat.")) from error
    event_record(kind=kind, subject=row, actor=actor, data={"fields": sorted(changed)})
    return row


def _own_reference(reference: str | None) -> str | None:
    """None for an empty one. Raises Refused for one of the shape that our exports give to rows without a reference."""
    if reference and own_number(reference) is not None:
        raise Refused(_("References of this shape are given by the export. Choose another one."))
    return reference or None
