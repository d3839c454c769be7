"""Who is already known, as numbers only, so that a file of any length is matched with two queries at its start."""

import re
from collections.abc import Iterable
from datetime import UTC

from django.db.models.functions import Coalesce

from jobs.customers.domain.identity import customer_keys, digest, name_key
from jobs.customers.models import Customer, Property
from jobs.work.models import Job

# How an export names a row that has no reference of the company's own: #, its id, and letters that only this row
# of this database has, so that a file from another database never hits the wrong row.
OWN = re.compile(r"#([0-9]{1,18})-([0-9a-f]{8})")


def own_reference(row: Customer | Property | Job) -> str:
    """The name that we give a row ourselves, such as #12-3fa9c104; it never changes."""
    born = row.customer.created_at if isinstance(row, Property) else row.created_at
    letters = digest(row._meta.label, row.pk, born.astimezone(UTC).isoformat()) % 2**32
    return f"#{row.pk}-{letters:08x}"


def own_number(reference: str) -> int | None:
    """The id in a name that we gave; None for any other reference."""
    parts = OWN.fullmatch(reference)
    return int(parts[1]) if parts else None


class CustomerIndex:
    """Digests of references and of pairs of facts, each with the customers (or property) that they stand for.

    Customers are named by tokens: the id, or a negative number for one that is not stored yet (see `stored`).
    """

    def __init__(self) -> None:
        self._customers: dict[int, int | tuple[int, ...]] = {}
        self._properties: dict[int, int] = {}
        self._ids: dict[int, int] = {}
        self._next = -1

    def load(self) -> None:
        """Read everybody anew; what was added before is forgotten."""
        self._customers.clear()
        self._properties.clear()
        self._ids.clear()
        people = Customer.objects.annotate(now=Coalesce("merged_into", "pk")).order_by("pk")
        facts = people.values_list("now", "reference", "name", "phone_e164", "email")
        for pk, reference, name, phone, email in facts.iterator(chunk_size=500):
            self.add_customer(pk, reference or "", name=name, phone=phone, email=email)
        places = Property.objects.annotate(
            now=Coalesce("joined_into", "pk"), whose=Coalesce("customer__merged_into", "customer")
        )
        rows = places.order_by("pk").values_list(
            "now", "reference", "street", "whose", "customer__name", "customer__phone_e164", "customer__email"
        )
        for pk, reference, street, customer, name, phone, email in rows.iterator(chunk_size=500):
            self.add_property(customer, pk, reference or "", name=name, phone=phone, email=email, street=street)

    def new_token(self) -> int:
        """A token for a customer that will be stored later."""
        self._next -= 1
        return self._next

    def stored(self, token: int, pk: int) -> None:
        """A new customer has its id now."""
        self._ids[token] = pk

    def property_stored(self, reference: str, pk: int) -> None:
        """A new property has its id now."""
        if reference:
            self._properties[digest(reference)] = pk

    def add_customer(self, token: int, reference: str, *, name: str, phone: str, email: str) -> None:
        if reference:
            self._add(digest("reference", reference), token)
        self._add(digest("name", name_key(name)), token)
        for key in customer_keys(name=name, phone=phone, email=email, street=""):
            self._add(key, token)

    def add_property(
        self, token: int, pk: int | None, reference: str, *, name: str, phone: str, email: str, street: str
    ) -> None:
        if reference:
            self._properties[digest(reference)] = pk or 0
        for key in customer_keys(name=name, phone=phone, email=email, street=street):
            self._add(key, token)

    def by_reference(self, reference: str) -> int | None:
        """The customer with this reference of the company's own."""
        return next(iter(self._found([digest("reference", reference)])), None)

    def by_facts(self, *, name: str, phone: str, email: str, street: str) -> set[int]:
        """The customers who share a pair of facts; with a name alone, those of that name."""
        keys = customer_keys(name=name, phone=phone, email=email, street=street)
        return self._found(keys or [digest("name", name_key(name))])

    def property_by_reference(self, reference: str) -> int | None:
        return self._properties.get(digest(reference))

    def _add(self, key: int, token: int) -> None:
        held = self._customers.get(key)
        if held is None:
            self._customers[key] = token
        elif token not in (held if isinstance(held, tuple) else (held,)):
            self._customers[key] = (*(held if isinstance(held, tuple) else (held,)), token)

    def _found(self, keys: Iterable[int]) -> set[int]:
        found: set[int] = set()
        for key in keys:
            held = self._customers.get(key)
            if held is not None:
                found.update(self._ids.get(t, t) for t in (held if isinstance(held, tuple) else (held,)))
        return found
