"""A row of a customers' file: a customer, perhaps a property, perhaps what its walls are made of."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from .columns import Columns
from .faults import N_, Fault
from .reading import Habits, RowReader
from .tables import Row
from .vocabulary import LANGUAGES, MATERIALS

OLDEST_HOUSE, NEWEST_HOUSE = 1600, 2100


@dataclass(frozen=True, slots=True)
class CustomerRow:
    """What a row says, by the names of our columns; what it leaves empty is absent and changes nothing."""

    number: int
    customer: Mapping[str, Any]
    property: Mapping[str, Any]
    wall: Mapping[str, Any]
    consents: Mapping[str, bool]


def read_customer_row(row: Row, columns: Columns, habits: Habits) -> CustomerRow | list[Fault]:
    """The row, or everything that is wrong with it."""
    read = RowReader(row, columns, habits)
    customer, place = _customer(read), _property(read)
    wall = _given(
        material=read.choice("siding", MATERIALS),
        colour=read.text("siding_colour", 30),
        area_sqft=read.area("wall_area"),
    )
    consents = _consents(read)
    read.require("customer_name", customer.get("name"), N_("Write the customer's name."))
    if (place or wall) and not row.faults:
        read.require("street", place.get("street"), N_("Write the street address that the other values belong to."))
    return read.faults or CustomerRow(row.number, customer, place, wall, consents)


def _customer(read: RowReader) -> dict[str, Any]:
    return _given(
        reference=read.text("customer_ref", 40),
        name=read.name(),
        email=read.email("email"),
        phone_e164=read.phone("phone"),
        language=read.choice("language", LANGUAGES),
        source=read.text("source", 60),
        note=read.text("customer_note", 4000, lines=True),
    )


def _property(read: RowReader) -> dict[str, Any]:
    region = read.text("region", 40)
    latitude, longitude = read.coordinate("latitude", 90), read.coordinate("longitude", 180)
    if (latitude is None) != (longitude is None) and not read.faults:
        read.refuse(
            "latitude" if latitude is None else "longitude",
            N_("Latitude and longitude belong together, and one is missing."),
            N_("Write both or leave both empty."),
        )
    return _given(
        reference=read.text("property_ref", 40),
        street=read.text("street", 120),
        city=read.text("city", 80),
        region=region,
        postal_code=read.postal_code("postal_code", region),
        latitude=latitude,
        longitude=longitude,
        storeys=read.count("storeys", least=1, most=4),
        year_built=read.count("year_built", least=OLDEST_HOUSE, most=NEWEST_HOUSE),
        gate_note=read.text("gate_note", 200),
        pet_note=read.text("pet_note", 200),
        note=read.text("property_note", 4000, lines=True),
    )


def _consents(read: RowReader) -> dict[str, bool]:
    """By channel; "do not contact" is a no to both and must not stand beside a yes."""
    said = {"email": read.yes_no("email_consent"), "text": read.yes_no("text_consent")}
    if read.yes_no("do_not_contact"):
        if any(said.values()):
            read.refuse(
                "do_not_contact",
                N_("The row says both that they may be written to and that they must not."),
                N_("Which is right? Change one of the two."),
            )
        return {"email": False, "text": False}
    return {channel: answer for channel, answer in said.items() if answer is not None}


def _given(**fields: Any) -> dict[str, Any]:
    return {name: value for name, value in fields.items() if value not in ("", None)}
