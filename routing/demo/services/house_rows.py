"""Customers, consents, properties and walls of the demo as rows."""

from collections.abc import Iterable
from datetime import date, datetime

from jobs.customers.models import Consent, Customer, Property, Purpose, Wall
from routing.demo.domain.company import TIMEZONE
from routing.demo.domain.houses import POSTAL_CODE, House
from routing.demo.domain.people import CustomerSpec
from routing.demo.domain.town import TOWN_NAME
from routing.demo.domain.world import Base
from shared import clock

BATCH = 500
OFFICE_OPENS, NOON = 9 * 60, 12 * 60


def at(day: date, minute: int = NOON) -> datetime:
    """An instant on a day in the demo's town."""
    return clock.at_minute(day, minute, TIMEZONE)


def houses_store(base: Base, unplaced: frozenset[int]) -> list[Property]:
    """Write customers, consents, properties and walls; the properties come back in the order of the houses."""
    customers = {row.reference: row for row in Customer.objects.bulk_create(map(_customer, base.customers), BATCH)}
    Consent.objects.bulk_create(
        (row for spec in base.customers for row in _consents(spec, customers[spec.reference])), BATCH
    )
    rows = [
        _property(house, customers[house.customer], has_place=number not in unplaced)
        for number, house in enumerate(base.houses)
    ]
    properties = Property.objects.bulk_create(rows, BATCH)
    Wall.objects.bulk_create(
        (wall for house, row in zip(base.houses, properties, strict=True) for wall in _walls(house, row)), BATCH
    )
    return properties


def _customer(spec: CustomerSpec) -> Customer:
    return Customer(
        reference=spec.reference,
        name=spec.name,
        email=spec.email,
        phone_e164=spec.phone_e164,
        language=spec.language,
        source=spec.source,
        note=spec.note,
        created_at=at(spec.since, OFFICE_OPENS),
    )


def _consents(spec: CustomerSpec, customer: Customer) -> Iterable[Consent]:
    for said in spec.consents:
        yield Consent(
            customer=customer,
            channel=said.channel,
            purpose=Purpose.REMINDER if said.given else Purpose.ALL,
            given=said.given,
            wording=said.wording,
            source=said.source,
            at=at(said.on, OFFICE_OPENS if said.given else NOON),
        )


def _property(house: House, customer: Customer, *, has_place: bool) -> Property:
    return Property(
        reference=house.reference,
        customer=customer,
        street=house.plot.line,
        city=TOWN_NAME,
        postal_code=POSTAL_CODE,
        latitude=house.plot.lat if has_place else None,
        longitude=house.plot.lon if has_place else None,
        storeys=house.storeys,
        year_built=house.year_built,
        gate_note=house.gate_note,
        pet_note=house.pet_note,
    )


def _walls(house: House, row: Property) -> Iterable[Wall]:
    for wall in house.walls:
        yield Wall(
            property=row,
            name=wall.name,
            kind=wall.kind,
            material=wall.material,
            colour=wall.colour,
            lightness_percent=wall.lightness_percent,
            facing_degrees=wall.facing_degrees,
            area_sqft=wall.area_sqft,
            storeys=wall.storeys,
            year_fitted=house.siding_since.year,
        )
