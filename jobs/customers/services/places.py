"""Whose property a row of a jobs' file means, among those that are stored."""

from collections.abc import Iterable
from typing import NoReturn

from jobs.customers.domain.columns import Columns
from jobs.customers.domain.faults import N_
from jobs.customers.domain.identity import same_address
from jobs.customers.domain.job_rows import Place
from jobs.customers.models import Property

from .customers_store import Known, load_known
from .importing import Refusal
from .index import CustomerIndex, own_number, own_reference


class PlaceFinder:
    """Finds properties for a batch: load once with `look_up`, then ask with `find`."""

    def __init__(self, index: CustomerIndex, columns: Columns) -> None:
        self.index, self.columns = index, columns
        self.known: dict[int, Known] = {}
        self.properties: dict[int, Property] = {}
        self.named: dict[int, Property] = {}

    def look_up(self, places: Iterable[Place]) -> None:
        """Read what these rows may mean."""
        customers: set[int] = set()
        properties: set[int] = set()
        for place in places:
            customers |= self._customers_by_reference(place) | self._customers_by_facts(place)
            properties.add(self._property_id(place) or 0)
        self.known = load_known(customers)
        found = Property.objects.filter(pk__in=properties).select_related("customer", "joined_into__customer")
        self.named = {place.pk: place for place in found}
        self.properties = {place.pk: place for place in map(_present, found)}
        self.properties |= {place.pk: place for known in self.known.values() for place in known.properties}

    def find(self, place: Place) -> Property:
        """The one property that is meant. Raises Refusal with a question where there is none, or several."""
        if place.property_ref:
            number = self._property_id(place) or 0
            found = self.named.get(number) or self.properties.get(number)
            own = own_number(place.property_ref) is not None
            if found is not None and (not own or own_reference(found) == place.property_ref):
                return self.properties[_present(found).pk]
            if not own:
                raise Refusal(
                    self.columns.heading("property_ref"),
                    place.property_ref,
                    N_("No property has this reference."),
                    N_("Import the customers first, or correct the reference."),
                )
        return self._of_customer(place, self._customer(place))

    def _property_id(self, place: Place) -> int | None:
        if not place.property_ref:
            return None
        return self.index.property_by_reference(place.property_ref) or own_number(place.property_ref)

    def _customers_by_reference(self, place: Place) -> set[int]:
        if not place.customer_ref:
            return set()
        return {self.index.by_reference(place.customer_ref) or own_number(place.customer_ref) or 0} - {0}

    def _customers_by_facts(self, place: Place) -> set[int]:
        if not (place.name or place.phone or place.email):
            return set()
        return self.index.by_facts(name=place.name, phone=place.phone, email=place.email, street=place.street)

    def _customer(self, place: Place) -> Known:
        own = own_number(place.customer_ref) is not None
        for token in self._customers_by_reference(place) & self.known.keys():
            if not own or own_reference(self.known[token].customer) == place.customer_ref:
                return self.known[token]
        by_facts = self._customers_by_facts(place)
        if place.customer_ref and not own:
            self._refuse("customer_ref", place.customer_ref, N_("No customer has this reference."))
        if not by_facts:
            self._refuse("customer_name", place.name, N_("No known customer fits."))
        if len(by_facts) > 1:
            raise Refusal(
                self.columns.heading("customer_name"),
                place.name,
                N_("Several customers fit: %(names)s."),
                N_("Which one is it? Write its reference, or one of these, into a column customer_ref."),
                names=", ".join(own_reference(self.known[token].customer) for token in sorted(by_facts)),
            )
        return self.known[next(iter(by_facts))]

    def _refuse(self, name: str, value: str, problem: str) -> NoReturn:
        advice = N_("Import the customers first (the same file may serve), or correct the row.")
        raise Refusal(self.columns.heading(name), value, problem, advice)

    def _of_customer(self, place: Place, known: Known) -> Property:
        fitting = {
            _present(stored).pk
            for stored in (*known.properties, *known.joined)
            if not place.street or same_address(stored, place)
        } & self.properties.keys()
        if len(fitting) == 1:
            return self.properties[fitting.pop()]
        problem = (
            N_("The customer has several properties that fit.") if fitting else N_("The customer has no such property.")
        )
        raise Refusal(
            self.columns.heading("street"),
            place.street,
            problem,
            N_("Which one is it? Write the street as in the customer's record, or the property's reference."),
        )


def _present(place: Property) -> Property:
    """The entry as which a house goes on."""
    return place.joined_into or place
