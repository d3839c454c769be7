"""What a batch of customers' rows reads and writes, with a few queries for all of them."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import Model
from django.utils.translation import gettext

from jobs.customers.models import Consent, Customer, Property, Purpose, Wall
from shared.events.models import Event
from shared.events.services import event_unsaved

from .index import CustomerIndex

# The wall that a file's siding and area speak of; walls that are looked at one by one have names of their own.
WHOLE_HOUSE = "whole house"


@dataclass(slots=True)
class Known:
    """A customer with everything that a row may touch. `token` is the id, or a stand-in until it is stored.

    `joined` are entries of houses that became another entry of `properties`.
    `walls` are whole-house walls and `walled` the properties with other walls, by id() of the property, since it may
    not be stored yet.
    """

    token: int
    customer: Customer
    properties: list[Property] = field(default_factory=list)
    joined: list[Property] = field(default_factory=list)
    walls: dict[int, Wall] = field(default_factory=dict)
    walled: set[int] = field(default_factory=set)
    consents: dict[str, bool] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RowPlan:
    """What a row changes, checked and not yet done."""

    customer_fields: Mapping[str, Any]
    place: Property | None
    is_new_place: bool
    place_fields: Mapping[str, Any]
    wall_fields: Mapping[str, Any]
    consents: Mapping[str, bool]

    @property
    def changes_anything(self) -> bool:
        """Whether something that is stored would be different afterwards."""
        changed = self.customer_fields or self.place_fields or self.wall_fields or self.consents
        return bool(changed) or self.is_new_place


def load_known(customer_ids: Iterable[int]) -> dict[int, Known]:
    """The customers with these ids, with properties, walls and the newest answer for each channel."""
    customers = Customer.objects.select_related("merged_into").in_bulk(list(customer_ids))
    known = {pk: Known(pk, customer) for pk, customer in customers.items()}
    places = {}
    for place in Property.objects.filter(customer__in=customers).select_related("joined_into").order_by("pk"):
        place.customer = customers[place.customer_id]
        if place.joined_into is not None:
            known[place.customer_id].joined.append(place)
            continue
        known[place.customer_id].properties.append(place)
        places[place.pk] = place
    for wall in Wall.objects.filter(property__in=places).order_by("pk"):
        place = wall.property = places[wall.property_id]
        holder = known[place.customer_id]
        if wall.name == WHOLE_HOUSE:
            holder.walls[id(place)] = wall
        else:
            holder.walled.add(id(place))
    answers = Consent.objects.filter(customer__in=customers, purpose__in=(Purpose.ALL, Purpose.REMINDER))
    for consent in answers.order_by("at", "pk"):
        known[consent.customer_id].consents[consent.channel] = consent.given
    return known


class Changes:
    """Gathers what the rows of a batch change, and writes it with one query for each kind of row."""

    def __init__(self, *, actor: Any, now: datetime) -> None:
        self.actor, self.now = actor, now
        self.new_customers: list[Known] = []
        self.new_properties: list[Property] = []
        self.new_walls: list[Wall] = []
        self.new_consents: list[Consent] = []
        self.changed: defaultdict[type[Model], dict[int, tuple[Model, set[str]]]] = defaultdict(dict)
        self._new: set[int] = set()

    def take(self, plan: RowPlan, known: Known, *, made: bool) -> None:
        """Do what a row's plan says, in memory."""
        if made:
            self.new_customers.append(known)
            self._new.add(id(known.customer))
        self._set(known.customer, plan.customer_fields)
        if plan.place is not None:
            self._place(plan, known, plan.place)
            self._wall(plan.place, known, plan.wall_fields)
        for channel, given in plan.consents.items():
            known.consents[channel] = given
            self.new_consents.append(self._consent(known.customer, channel, given))

    def fresh(self) -> Iterator[tuple[str, Model]]:
        """What is not stored yet, under the kinds that rows speak of."""
        for known in self.new_customers:
            yield "customer", known.customer
            yield "consent", known.customer
        for place in self.new_properties:
            yield "property", place
            yield "wall", place

    def store(self, index: CustomerIndex) -> None:
        """Write everything, and tell the index the ids of what is new."""
        Customer.objects.bulk_create(known.customer for known in self.new_customers)
        for known in self.new_customers:
            index.stored(known.token, known.customer.pk)
        for place in self.new_properties:
            place.customer_id = place.customer.pk
        Property.objects.bulk_create(self.new_properties)
        for place in self.new_properties:
            index.property_stored(place.reference or "", place.pk)
        Wall.objects.bulk_create(self.new_walls)
        Consent.objects.bulk_create(self.new_consents)
        for model, rows in self.changed.items():
            names = sorted(set().union(*(names for _, names in rows.values())))
            model._default_manager.bulk_update([row for row, _ in rows.values()], names)
        Event.objects.bulk_create(self._events())

    def _set(self, row: Model, fields: Mapping[str, Any]) -> None:
        for name, value in fields.items():
            setattr(row, name, value)
        if fields and id(row) not in self._new:
            _, names = self.changed[type(row)].setdefault(row.pk, (row, set()))
            names.update(fields)

    def _place(self, plan: RowPlan, known: Known, place: Property) -> None:
        if plan.is_new_place:
            known.properties.append(place)
            self.new_properties.append(place)
            self._new.add(id(place))
        self._set(place, plan.place_fields)

    def _wall(self, place: Property, known: Known, fields: Mapping[str, Any]) -> None:
        wall = known.walls.get(id(place))
        if wall is None and fields:
            wall = known.walls[id(place)] = Wall(property=place, name=WHOLE_HOUSE, storeys=place.storeys)
            self.new_walls.append(wall)
            self._new.add(id(wall))
        if wall is not None:
            self._set(wall, fields)

    def _consent(self, customer: Customer, channel: str, given: bool) -> Consent:
        return Consent(
            customer=customer,
            channel=channel,
            purpose=Purpose.ALL,
            given=given,
            wording=gettext("From the company's own file"),
            source="import",
            at=self.now,
            recorded_by=self.actor,
        )

    def _events(self) -> Iterator[Event]:
        for known in self.new_customers:
            yield self._event("customer.created", known.customer, {})
        for place in self.new_properties:
            yield self._event("property.created", place, {})
        for rows in self.changed.values():
            for row, names in rows.values():
                yield self._event(f"{row._meta.model_name}.changed", row, {"fields": sorted(names)})

    def _event(self, kind: str, row: Model, data: dict[str, Any]) -> Event:
        return event_unsaved(kind=kind, subject=row, at=self.now, actor=self.actor, reason="import", data=data)
