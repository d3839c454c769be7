"""Customers who are in the list twice, as happens where several people take down calls: one who called again and was
taken down anew with the same house, and one of the family, who shares the telephone and is somebody else. And a house
that its customer has twice, since the one who took down the second call did not find the first."""

from datetime import date, timedelta
from decimal import Decimal

from jobs.customers.domain.identity import SHORT
from jobs.customers.models import Consent, Customer, Language, Property, Wall
from jobs.walkthroughs.services.readings import reading_store
from jobs.work.choices import JobState
from jobs.work.inputs import NewLine
from jobs.work.models import Job
from jobs.work.services import job_create, job_decline
from pricing.catalogue.models import Service
from routing.demo.services.house_rows import OFFICE_OPENS, at

CALLED_DAYS_AGO = 70
RELATIVE = "Robin"
PRICE_CENTS, MINUTES = 38_000, 110


def doubles_store(*, today: date) -> None:
    """Of two past customers with one house each and nothing in the book."""
    first, second, *others = _known()
    called = today - timedelta(days=CALLED_DAYS_AGO)
    _called_again(first.properties.get(), called)
    Customer.objects.create(
        name=f"{RELATIVE} {second.name.split()[-1]}", phone_e164=second.phone_e164, source="neighbour",
        note="Asked for her mother; will call back.", created_at=at(called, OFFICE_OPENS),
    )  # fmt: skip
    house = next(
        house for person in others for house in person.properties.all() if _short(house.street) != house.street
    )
    _entered_again(house, house.customer, called)


def _known() -> list[Customer]:
    """In the order of their numbers; nobody who ever said stop."""
    refused = Consent.objects.filter(given=False).values("customer")
    busy = Job.objects.exclude(state=JobState.DONE).values("property__customer")
    people = Customer.objects.filter(language=Language.ENGLISH, properties__jobs__state=JobState.DONE).distinct()
    people = people.exclude(phone_e164="").exclude(email="").exclude(pk__in=refused).exclude(pk__in=busy)
    return [person for person in people.order_by("pk") if person.properties.count() == 1]


def _called_again(house: Property, called: date) -> None:
    """The same house in other words, with a wall that was read and a wash that was asked about and declined."""
    known, moment = house.customer, at(called, OFFICE_OPENS)
    again = Customer.objects.create(
        name=f"{known.name[0]}. {known.name.split()[-1]}", phone_e164=known.phone_e164, source="telephone call",
        note="Husband is at home on Fridays.", created_at=moment,
    )  # fmt: skip
    _entered_again(house, again, called)


def _entered_again(house: Property, customer: Customer, called: date) -> None:
    """The street in its short form, with what was heard on the telephone."""
    place = Property.objects.create(
        customer=customer, street=_short(house.street), city=house.city, postal_code=house.postal_code,
        latitude=house.latitude, longitude=house.longitude, storeys=house.storeys,
        gate_note="Key under the third stone.",
    )  # fmt: skip
    wall = house.walls.order_by("pk").first() or Wall(name="South wall")
    _read(Wall.objects.create(property=place, name=wall.name, facing_degrees=wall.facing_degrees), called)
    Wall.objects.create(property=place, name="Shed", kind="face", facing_degrees=wall.facing_degrees, area_sqft=160)
    lines = [NewLine(Service.objects.get(code="house_wash"), PRICE_CENTS, MINUTES)]
    job = job_create(property=place, lines=lines, created_at=at(called, OFFICE_OPENS), source="telephone call")
    job_decline(job=job, reason="wants to wait for next year")


def _short(street: str) -> str:
    """As somebody writes who is on the telephone."""
    *words, last = street.split()
    return " ".join((*words, SHORT.get(last.lower(), last).capitalize()))


def _read(wall: Wall, day: date) -> None:
    reading_store(wall=wall, reading=Decimal("0.5"), read_on=day, today=day, note="asked over the fence")
