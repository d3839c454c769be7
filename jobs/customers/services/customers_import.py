"""What rows of a customers' file mean for the rows that are stored."""

import copy
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Model

from jobs.customers.domain.columns import Columns, Field
from jobs.customers.domain.customer_rows import CustomerRow, read_customer_row
from jobs.customers.domain.dates import DateOrder
from jobs.customers.domain.duplicates import Entry
from jobs.customers.domain.faults import N_, Fault
from jobs.customers.domain.identity import customer_keys, digest, same_address
from jobs.customers.domain.reading import Habits
from jobs.customers.domain.tables import Row
from jobs.customers.domain.values import same_value
from jobs.customers.domain.vocabulary import CUSTOMER_FIELDS, JOB_FIELDS
from jobs.customers.models import Customer, Property
from shared.company.models import Company

from .customers_store import Changes, Known, RowPlan, load_known
from .importing import Answer, Outcome, Refusal
from .index import CustomerIndex, own_number, own_reference
from .said import SaidBefore, Thing


class CustomersImporter:
    """See `Importer` in importing.py."""

    kind = "customers"
    fields: Sequence[Field] = CUSTOMER_FIELDS
    elsewhere: Sequence[Field] = JOB_FIELDS
    date_fields: Sequence[str] = ()

    def __init__(self, *, company: Company, actor: Any, now: datetime) -> None:
        self.habits = Habits(company.country, company.currency)
        self.actor, self.now = actor, now
        self.index = CustomerIndex()
        self.said = SaidBefore()

    def begin(self, columns: Columns, date_orders: Mapping[str, DateOrder]) -> None:
        self.columns = columns
        self.index.load()
        self.said.forget_batch()

    def read(self, row: Row) -> CustomerRow | list[Fault]:
        return read_customer_row(row, self.columns, self.habits)

    def belongs_to(self, row: CustomerRow, before: CustomerRow) -> bool:
        return False

    def apply(self, rows: Sequence[CustomerRow]) -> list[Answer]:
        self.changes = Changes(actor=self.actor, now=self.now)
        self.known = load_known(self._wanted(rows))
        answers: list[Answer] = [self._one(row) for row in rows]
        before = [(kind, thing, _key(kind, thing)) for kind, thing in self.changes.fresh()]
        self.changes.store(self.index)
        for kind, thing, key in before:
            self.said.rename(key, _key(kind, thing))
        self.said.keep()
        return answers

    def _wanted(self, rows: Sequence[CustomerRow]) -> set[int]:
        """Ids of the stored customers that these rows may mean."""
        wanted: set[int] = set()
        for row in rows:
            reference = row.customer.get("reference", "")
            wanted |= self.index.by_facts(**_facts(row)) | {self.index.by_reference(reference) or 0}
            wanted |= {own_number(reference) or 0}
        return {token for token in wanted if token > 0}

    def _one(self, row: CustomerRow) -> Answer:
        try:
            return self._taken(row)
        except Refusal as refusal:
            self.said.refuse(self._spoken_of(row), row.number)
            return [refusal.fault]

    def _taken(self, row: CustomerRow) -> Outcome:
        """Decide everything before anything is changed, so that a refused row leaves no trace."""
        known = self._customer(row)
        place = self._place(row, known)
        if known is not None:
            self._agrees(row, known, place)
        made = known is None
        known = known or Known(self.index.new_token(), Customer(created_at=self.now))
        plan = self._plan(row, known, place)
        self._agrees_with_walls(row, known, plan.place)
        if made or plan.changes_anything:
            self._not_after_a_refused_row(row)
        if made:
            self.known[known.token] = known
        self.changes.take(plan, known, made=made)
        self._remember(row, known, plan.place)
        if made:
            return Outcome.CREATED
        return Outcome.CHANGED if plan.changes_anything else Outcome.UNCHANGED

    def notes(self) -> tuple[str, ...]:
        return ()

    def _spoken_of(self, row: CustomerRow) -> list[Thing]:
        """Everything by which a row could find or make a customer or a property, and whom it finds."""
        facts = _facts(row)
        keys = [("key", key) for key in customer_keys(**facts)]
        for kind, fields in (("customer_ref", row.customer), ("property_ref", row.property)):
            if fields.get("reference"):
                keys.append((kind, digest(fields["reference"])))
        found = self.index.by_facts(**facts) | {self.index.by_reference(row.customer.get("reference", "")) or 0}
        return keys + [_key("customer", self.known[token].customer) for token in sorted(found) if token in self.known]

    def _not_after_a_refused_row(self, row: CustomerRow) -> None:
        earlier = self.said.refused(self._spoken_of(row))
        if earlier is not None:
            raise Refusal(
                "",
                "",
                N_("Row %(row)d, which may be about the same customer or property, was refused."),
                N_("Correct that row, then import both again."),
                row=earlier,
            )

    # --- who is meant ---

    def _customer(self, row: CustomerRow) -> Known | None:
        reference = row.customer.get("reference", "")
        token = self.index.by_reference(reference) if reference else None
        if token is not None:
            return self._not_merged(reference, self.known[token])
        own = own_number(reference)
        named = self.known.get(own or 0)
        if named is not None and own_reference(named.customer) == reference:
            return self._not_merged(reference, named)
        candidates = [self.known[token] for token in sorted(self.index.by_facts(**_facts(row)))]
        if reference and own is None:
            candidates = [known for known in candidates if not known.customer.reference]
        return self._only(row, candidates)

    def _not_merged(self, reference: str, known: Known) -> Known:
        """Refuse the reference of an entry that was merged: the row would undo what the office decided."""
        customer = known.customer
        names = (customer.reference, own_reference(customer))
        if customer.merged_into is None and reference in names:
            return known
        now = customer.merged_into or customer
        raise Refusal(
            self.columns.heading("customer_ref"),
            reference,
            N_("This customer was merged into %(reference)s."),
            N_("Take the row out of the file, or write that reference."),
            reference=now.reference or own_reference(now),
        )

    def _only(self, row: CustomerRow, candidates: list[Known]) -> Known | None:
        facts = _facts(row)
        if not (facts["phone"] or facts["email"] or facts["street"]):
            return self._by_name_alone(row, candidates)
        if len(candidates) > 1:
            raise Refusal(
                self.columns.heading("customer_name"),
                facts["name"],
                N_("Several customers fit: %(names)s."),
                N_("Which one is it? Write its reference, or one of these, into a column customer_ref."),
                names=", ".join(own_reference(known.customer) for known in candidates if known.token > 0),
            )
        return next(iter(candidates), None)

    def _by_name_alone(self, row: CustomerRow, candidates: list[Known]) -> Known | None:
        """A record that is a bare name too; anybody of that name with more to them might be somebody else."""
        bare = [c for c in candidates if not (c.customer.phone_e164 or c.customer.email or c.properties)]
        if candidates and len(bare) != 1:
            raise Refusal(
                self.columns.heading("customer_name"),
                row.customer["name"],
                N_("A customer of this name is known, and the row gives nothing else to go by."),
                N_("Is it the same person? Add the telephone number, the email or the street."),
            )
        return next(iter(bare), None)

    def _place(self, row: CustomerRow, known: Known | None) -> Property | None:
        """The stored property that the row means; None for a new one or none."""
        reference, street = row.property.get("reference", ""), row.property.get("street", "")
        properties = known.properties if known else []
        own = own_number(reference)
        asked = Entry(
            0, street=street, city=row.property.get("city", ""), postal_code=row.property.get("postal_code", "")
        )
        for place in properties:
            if _is_named(place, reference):
                return place
        joined = known.joined if known else []
        self._not_joined("property_ref", reference, [place for place in joined if _is_named(place, reference)])
        if reference and self.index.property_by_reference(reference) is not None:
            raise Refusal(
                self.columns.heading("property_ref"),
                reference,
                N_("This property belongs to another customer."),
                N_("Was it sold? Give it a new reference, or correct the customer."),
            )
        fitting = [place for place in properties if same_address(place, asked)]
        taken = [place.reference for place in fitting if place.reference and reference and own is None]
        if street and taken:
            raise Refusal(
                self.columns.heading("property_ref"),
                reference,
                N_("The property at this street has the reference %(reference)s."),
                N_("Is it the same house? Correct the reference, or write the unit into the street."),
                reference=taken[0],
            )
        if street and len(fitting) > 1:
            raise Refusal(
                self.columns.heading("street"),
                street,
                N_("Several properties of this customer fit."),
                N_("Which one is it? Write its ZIP code or its reference."),
            )
        if street and not fitting:
            self._not_joined("street", street, [place for place in joined if same_address(place, asked)])
        return fitting[0] if street and fitting else None

    def _not_joined(self, column: str, value: str, joined: Sequence[Property]) -> None:
        """Refuse a row about an entry that became another one: what the file says of it is older than that."""
        for place in joined:
            now = place.joined_into
            assert now is not None
            raise Refusal(
                self.columns.heading(column),
                value,
                N_("This entry was joined with %(reference)s, which is the same house."),
                N_("Take the row out of the file, or write that reference."),
                reference=now.reference or own_reference(now),
            )

    # --- what the row changes ---

    def _agrees(self, row: CustomerRow, known: Known, place: Property | None) -> None:
        """Refuse a row that contradicts an earlier one of this file; importing twice would never settle."""
        things: list[tuple[str, Model, Mapping[str, Any]]] = [("customer", known.customer, row.customer)]
        things += [("consent", known.customer, row.consents)]
        if place is not None:
            things += [("property", place, row.property), ("wall", place, row.wall)]
        for kind, thing, fields in things:
            earlier = self.said.contradicted(_key(kind, thing), fields)
            if earlier is not None:
                self._contradicted(kind, earlier[0], fields[earlier[0]], earlier[1])

    def _contradicted(self, kind: str, name: str, value: object, number: int) -> None:
        raise Refusal(
            self.columns.heading(COLUMN_OF.get((kind, name), name)),
            value,
            N_("Row %(row)d says something else here about the same %(thing)s."),
            N_("Which is right? Correct one of the two rows."),
            row=number,
            thing="customer" if kind == "consent" else kind,
        )

    def _agrees_with_walls(self, row: CustomerRow, known: Known, place: Property | None) -> None:
        if row.wall and place is not None and id(place) in known.walled:
            raise Refusal(
                self.columns.heading("siding"),
                "",
                N_("The walls of this property are recorded one by one."),
                N_("Leave siding and area empty, and change the walls on the property's page."),
            )

    def _plan(self, row: CustomerRow, known: Known, place: Property | None) -> RowPlan:
        """What differs. Raises Refusal for a value that the database's own rules refuse."""
        fresh = place is None and bool(row.property)
        target = Property(customer=known.customer) if fresh else place
        plan = RowPlan(
            customer_fields=_differing(known.customer, row.customer),
            place=target,
            is_new_place=fresh,
            place_fields=_differing(target, row.property) if target else {},
            wall_fields=_differing_wall(known, target, row.wall) if target else {},
            consents={c: given for c, given in row.consents.items() if known.consents.get(c) != given},
        )
        self._check(known.customer, plan.customer_fields, "customer")
        if target is not None:
            self._check(target, plan.place_fields, "property")
        return plan

    def _check(self, thing: Model, fields: Mapping[str, Any], kind: str) -> None:
        trial = copy.copy(thing)
        for name, value in fields.items():
            setattr(trial, name, value)
        try:
            trial.clean_fields(exclude=["customer"])
        except ValidationError as error:
            name = next(iter(error.message_dict))
            raise Refusal(
                self.columns.heading(COLUMN_OF.get((kind, name), name)),
                fields.get(name, ""),
                N_("This cannot be stored: %(why)s"),
                N_("Correct the value, or leave the cell empty."),
                why=" ".join(error.message_dict[name]),
            ) from error

    def _remember(self, row: CustomerRow, known: Known, place: Property | None) -> None:
        """Make what this row said findable for the rows after it."""
        customer = known.customer
        facts = {"name": customer.name, "phone": customer.phone_e164, "email": customer.email}
        self.index.add_customer(known.token, customer.reference or "", **facts)
        self.said.note(_key("customer", customer), row.customer, row.number)
        self.said.note(_key("consent", customer), row.consents, row.number)
        if place is not None:
            self.index.add_property(known.token, place.pk, place.reference or "", street=place.street, **facts)
            self.said.note(_key("property", place), row.property, row.number)
            self.said.note(_key("wall", place), row.wall, row.number)


COLUMN_OF = {
    ("customer", "reference"): "customer_ref", ("customer", "name"): "customer_name",
    ("customer", "phone_e164"): "phone", ("customer", "note"): "customer_note",
    ("property", "reference"): "property_ref", ("property", "note"): "property_note",
    ("wall", "material"): "siding", ("wall", "colour"): "siding_colour", ("wall", "area_sqft"): "wall_area",
}  # fmt: skip


def _is_named(place: Property, reference: str) -> bool:
    """By the company's own reference, or by the name that we gave it."""
    if not reference:
        return False
    return place.reference == reference or (place.pk == own_number(reference) and own_reference(place) == reference)


def _key(kind: str, thing: Model) -> tuple[str, int]:
    """A thing of this file: its id, or a negative stand-in that lasts as long as its batch."""
    return kind, thing.pk or -id(thing)


def _differing_wall(known: Known, place: Property, fields: Mapping[str, Any]) -> dict[str, Any]:
    wall = known.walls.get(id(place))
    return dict(fields) if wall is None else _differing(wall, fields)


def _facts(row: CustomerRow) -> dict[str, str]:
    return {
        "name": row.customer["name"],
        "phone": row.customer.get("phone_e164", ""),
        "email": row.customer.get("email", ""),
        "street": row.property.get("street", ""),
    }


def _differing(thing: Model, fields: Mapping[str, Any]) -> dict[str, Any]:
    """The fields whose values are not those of `thing`. Our own number is no reference to store."""
    return {
        name: value
        for name, value in fields.items()
        if not same_value(getattr(thing, name), value) and not (name == "reference" and own_number(value) is not None)
    }
