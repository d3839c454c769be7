from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, F, Prefetch, Q, QuerySet
from django.db.models.functions import Lower
from django.utils.translation import gettext as _

from jobs.customers.domain.duplicates import EMAIL, HOUSE, PHONE, Entry, alike
from jobs.customers.domain.houses import House, twins
from jobs.customers.models import (
    AddressLookup,
    Consent,
    Customer,
    DifferentCustomers,
    LookupOutcome,
    Property,
    Purpose,
    Wall,
)
from shared.errors import NotFound, Refused
from shared.events.models import Event
from shared.outbox.models import Channel
from shared.zones import zone_at

NEIGHBOURS = 40


def customer_list(*, words: str = "") -> QuerySet[Customer]:
    """Customers by name with their properties; each of `words` must occur in name, mail, number or street."""
    places = Prefetch("properties", Property.objects.filter(joined_into__isnull=True).order_by("street", "pk"))
    customers = Customer.objects.filter(merged_into__isnull=True).prefetch_related(places)
    for word in words.split():
        customers = customers.filter(pk__in=_customers_with(word))
    return customers.order_by("name", "pk")


def _customers_with(word: str) -> QuerySet[Customer, Any]:
    found = Q(name__icontains=word) | Q(email__icontains=word) | Q(reference__iexact=word)
    found |= Q(properties__street__icontains=word) | Q(properties__reference__iexact=word)
    digits = "".join(filter(str.isdigit, word))
    if len(digits) >= 3:
        found |= Q(phone_e164__contains=digits)
    return Customer.objects.filter(found).values("pk")


def customer_get(*, pk: int) -> Customer:
    """One customer with properties. Raises NotFound, which names the customer that this one was merged into."""
    customer = customer_list().filter(pk=pk).first()
    became = None if customer else became_of(pk)
    if became is not None:
        said = _("Customer %(number)s was merged into customer %(became)s.")
        raise NotFound(said % {"number": pk, "became": became}, merged_into=became)
    if customer is None:
        raise NotFound(_("There is no customer %(number)s.") % {"number": pk})
    return customer


def became_of(pk: int) -> int | None:
    """The id of the customer that this one was merged into; None where it was not, or is not there."""
    return Customer.objects.filter(pk=pk).values_list("merged_into", flat=True).first()


def present_customer(pk: int) -> Customer | None:
    """The customer of an old link or row, as which it goes on today."""
    return Customer.objects.filter(pk=became_of(pk) or pk).first()


@dataclass(frozen=True)
class Look:
    """Two customers who may be one, and the facts that they share."""

    first: Customer
    second: Customer
    facts: tuple[str, ...]

    @property
    def words(self) -> str:
        names = {PHONE: _("the same telephone number"), EMAIL: _("the same email"), HOUSE: _("the same house")}
        return ", ".join(str(names[fact]) for fact in self.facts)


def lookalikes(*, customer: Customer | None = None) -> list[Look]:
    """Who may be the same customer, those with most in common first; of one customer where it is given.

    Those whom somebody told apart are left out.
    """
    pairs = alike(_entries(customer))
    apart = set(DifferentCustomers.objects.values_list("first", "second"))
    pairs = [pair for pair in pairs if (pair.first, pair.second) not in apart]
    if customer is not None:
        pairs = [pair for pair in pairs if customer.pk in (pair.first, pair.second)]
    people = customer_list().in_bulk({number for pair in pairs for number in (pair.first, pair.second)})
    return [Look(people[pair.first], people[pair.second], pair.facts) for pair in pairs]


def _entries(customer: Customer | None) -> Iterator[Entry]:
    """Everybody, or those who can share a telephone number, a mail address or a ZIP code with one customer."""
    people = Customer.objects.filter(merged_into__isnull=True)
    places = Property.objects.all()
    if customer is not None:
        near = Q(customer=customer) | Q(postal_code__in=[place.postal_code for place in customer.properties.all()])
        same = Q(pk=customer.pk) | Q(phone_e164=customer.phone_e164) | Q(lower_email=customer.email.lower())
        people = people.annotate(lower_email=Lower("email")).filter(same)
        places = places.filter(near | Q(postal_code=""))
    facts = people.order_by("pk").values_list("pk", "phone_e164", "email")
    yield from (Entry(pk, phone=phone, email=email) for pk, phone, email in facts.iterator(chunk_size=2000))
    places = places.filter(customer__merged_into__isnull=True)
    houses = places.order_by("pk").values_list("customer", "street", "city", "postal_code")
    for pk, street, city, code in houses.iterator(chunk_size=2000):
        yield Entry(pk, street=street, city=city, postal_code=code)


def consent_list(*, customer: Customer) -> QuerySet[Consent]:
    """What a customer answered, newest first, also under entries that were merged into this one."""
    said = Q(customer=customer) | Q(customer__merged_into=customer)
    return Consent.objects.filter(said).select_related("recorded_by").order_by("-at", "-pk")


def consent_now(*, customer: Customer) -> dict[str, bool]:
    """The newest answer for each channel about reminders; a channel that was never asked about is absent."""
    rows = Consent.objects.filter(customer=customer, purpose__in=(Purpose.ALL, Purpose.REMINDER))
    return {row.channel: row.given for row in rows.order_by("at", "pk")}


def service_address(*, customer: Customer, channel: str, is_nudge: bool = False) -> str:
    """Where a message about booked or offered work may go by `channel`.

    A nudge, which nobody waits for, also heeds an opt-out of reminders. Raises Refused where there is no address or
    the customer does not want messages this way.
    """
    recipient = customer.email if channel == Channel.EMAIL else customer.phone_e164
    if not recipient:
        raise Refused(_("The office has no such address of this customer. Choose another way."))
    purposes = [Purpose.ALL, Purpose.SERVICE, *([Purpose.REMINDER] if is_nudge else [])]
    answers = Consent.objects.filter(customer=customer, channel=channel, purpose__in=purposes)
    newest = answers.order_by("-at", "-pk").first()
    if newest is not None and not newest.given:
        raise Refused(_("This customer does not want messages this way. Choose another way."))
    return recipient


def why_not_there(*, customer: Customer, channel: str, recipient: str, is_nudge: bool = False) -> str:
    """Why what was written to `recipient` about booked or offered work must not go there; empty where it may."""
    try:
        address = service_address(customer=customer, channel=channel, is_nudge=is_nudge)
    except Refused as error:
        return error.message
    return "" if address == recipient else _("The customer's address changed after it was written.")


def zone_of(place: Property, *, otherwise: str) -> str:
    """The IANA zone of the place, whose hours its people keep; `otherwise` where nobody knows where it is."""
    if place.latitude is None or place.longitude is None:
        return otherwise
    return zone_at(place.latitude, place.longitude)


def property_list(*, words: str = "") -> QuerySet[Property]:
    """Properties by street with their customers and the number of walls; `words` as in `customer_list`."""
    places = Property.objects.filter(joined_into__isnull=True).select_related("customer")
    places = places.annotate(wall_count=Count("walls"))
    for word in words.split():
        places = places.filter(
            Q(street__icontains=word)
            | Q(city__icontains=word)
            | Q(postal_code__startswith=word)
            | Q(customer__name__icontains=word)
            | Q(reference__iexact=word)
        )
    return places.order_by("street", "pk")


def properties_without_place() -> QuerySet[Property]:
    """Properties that no route can reach, by street, with their customer, newest look-up and number of open jobs."""
    places = Property.objects.filter(latitude__isnull=True, joined_into__isnull=True)
    places = places.select_related("customer", "lookup")
    open_jobs = Count("jobs", filter=~Q(jobs__state__in=("done", "declined", "called_off")))
    return places.annotate(open_jobs=open_jobs).order_by("-open_jobs", "street", "pk")


def properties_to_look_up() -> QuerySet[Property]:
    """Properties without a place that the register has not answered for; those never asked for first."""
    unanswered = Q(lookup__isnull=True) | Q(lookup__outcome=LookupOutcome.FAILED)
    places = Property.objects.filter(unanswered, latitude__isnull=True, joined_into__isnull=True)
    return places.order_by(F("lookup__at").asc(nulls_first=True), "pk")


def lookup_of(place: Property) -> AddressLookup | None:
    """What the register last answered for the property's address."""
    return AddressLookup.objects.filter(property=place).first()


def neighbours_of(place: Property) -> list[Property]:
    """Properties near this one as far as its address tells, with a place: of its street, else its city, else any.

    They show where on a map to look; at most NEIGHBOURS.
    """
    known = Property.objects.filter(latitude__isnull=False, joined_into__isnull=True).exclude(pk=place.pk)
    known = known.order_by("street", "pk")
    number, _space, street = place.street.partition(" ")
    name = street if any(map(str.isdigit, number)) else place.street
    of_street = known.filter(street__iendswith=f" {name}", city__iexact=place.city)
    return list(of_street[:NEIGHBOURS] or known.filter(city__iexact=place.city)[:NEIGHBOURS] or known[:NEIGHBOURS])


def house_of(place: Property) -> House:
    """A property as the rules about one house see it."""
    return House(place.pk, place.customer_id, place.street, place.city, place.postal_code, place.coordinates)


@dataclass(frozen=True)
class Twins:
    """Two entries of one customer that have one address."""

    first: Property
    second: Property


def twin_list(*, customer: Customer | None = None) -> list[Twins]:
    """Houses that may be entered twice for their customer; of one customer where it is given."""
    places = Property.objects.filter(joined_into__isnull=True, customer__merged_into__isnull=True)
    if customer is not None:
        places = places.filter(customer=customer)
    names = ("pk", "customer_id", "street", "city", "postal_code")
    pairs = twins(House(*values) for values in places.order_by("pk").values_list(*names).iterator(chunk_size=2000))
    rows = Property.objects.select_related("customer").in_bulk({number for pair in pairs for number in pair})
    return [Twins(rows[first], rows[second]) for first, second in pairs]


def twins_of(place: Property) -> set[int]:
    """Other entries of its customer that have the address of this one."""
    pairs = twins(house_of(each) for each in Property.objects.filter(customer=place.customer_id, joined_into=None))
    return {number for pair in pairs if place.pk in pair for number in pair} - {place.pk}


@dataclass(frozen=True)
class JoinedEntry:
    """An entry that became another one, and the event that says who did it, and when."""

    place: Property
    event: Event | None


def joined_entries(place: Property) -> list[JoinedEntry]:
    """The entries that this house had besides, by number."""
    rows = list(place.joined.order_by("pk"))
    events = Event.objects.filter(
        kind="property.joined", subject_type=Property._meta.label_lower, subject_id__in=[row.pk for row in rows]
    ).select_related("actor")
    by_row = {event.subject_id: event for event in events if rows}
    return [JoinedEntry(row, by_row.get(row.pk)) for row in rows]


def property_get(*, pk: int) -> Property:
    """One property with its customer and walls. Raises NotFound, which names the one that this one was joined into."""
    place = Property.objects.select_related("customer").prefetch_related("walls").filter(pk=pk).first()
    if place is not None and place.joined_into_id:
        said = _("Property %(number)s is property %(became)s now.")
        raise NotFound(said % {"number": pk, "became": place.joined_into_id}, joined_into=place.joined_into_id)
    if place is None:
        raise NotFound(_("There is no property %(number)s.") % {"number": pk})
    return place


def wall_get(*, pk: int) -> Wall:
    """One wall with its property. Raises NotFound."""
    wall = Wall.objects.select_related("property__customer").filter(pk=pk).first()
    if wall is None:
        raise NotFound(_("There is no wall %(number)s.") % {"number": pk})
    return wall


def wall_area_sqft(walls: Iterable[Wall]) -> int:
    """The area that is known of these walls."""
    return sum(wall.area_sqft or 0 for wall in walls)
