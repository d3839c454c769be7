"""A row of a jobs' file: one service at one property, open with its possible days or done with its date."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from . import hours
from .columns import Columns, plain
from .faults import N_, Fault
from .reading import Habits, RowReader
from .tables import Row
from .vocabulary import JOB_STATES

AREA_UNITS = frozenset(("wall_sqft", "flat_sqft"))
CLOSED = frozenset(("done", "declined", "called_off"))


@dataclass(frozen=True, slots=True)
class KnownService:
    """A service that the company sells, as far as reading a file needs it."""

    code: str
    name: str
    name_es: str
    unit: str


@dataclass(frozen=True, slots=True)
class Place:
    """Whose property is meant: by reference, or by name, number, mail and address."""

    customer_ref: str
    property_ref: str
    name: str
    email: str
    phone: str
    street: str
    city: str
    postal_code: str


@dataclass(frozen=True, slots=True)
class JobRow:
    """What a row says. None and "" mean that nothing was given; empty `windows` too.

    `callback_of` names the job that this free return visit makes good.
    """

    number: int
    reference: str
    place: Place
    service: str
    state: str
    quantity: int | None
    price_cents: int | None
    materials_cents: int | None
    discount_cents: int | None
    minutes: int | None
    workers: int | None
    drive_minutes: int | None
    wage_cents: int | None
    done_on: dt.date | None
    windows: tuple[hours.Window, ...]
    interval_months: int | None
    callback_of: str
    note: str
    line_note: str


def service_words(services: list[KnownService]) -> dict[str, str]:
    """What people may write for each service, to its code."""
    words: dict[str, str] = {}
    for service in services:
        for name in (service.name_es, service.name, service.code):
            if plain(name):
                words[plain(name)] = service.code
    return words


def read_job_row(
    row: Row, columns: Columns, habits: Habits, services: Mapping[str, KnownService], words: Mapping[str, str]
) -> JobRow | list[Fault]:
    """The row, or everything that is wrong with it. `words` is from `service_words`."""
    read = RowReader(row, columns, habits)
    place = _place(read)
    service = read.choice("service", words)
    if not row.faults:
        read.require("service", service, N_("Write which service it is."))
    done_on = _done_on(read)
    state = _state(read, done_on)
    windows = _windows(read) if state not in CLOSED else ()
    known = services.get(service)
    by_area = known is not None and known.unit in AREA_UNITS
    job = JobRow(
        number=row.number,
        reference=read.text("job_ref", 40),
        place=place,
        service=service,
        state=state,
        quantity=read.area("quantity") if by_area else read.count("quantity", least=1),
        price_cents=read.price("price"),
        materials_cents=read.price("materials"),
        discount_cents=read.price("discount"),
        minutes=read.minutes("minutes"),
        workers=read.count("workers", least=1, most=20),
        drive_minutes=read.minutes("drive_minutes"),
        wage_cents=read.price("wages"),
        done_on=done_on,
        windows=windows,
        interval_months=read.count("interval_months", least=1, most=240),
        callback_of=read.text("callback_of", 40),
        note=read.text("job_note", 4000, lines=True),
        line_note=read.text("line_note", 200),
    )
    return read.faults or job


def _place(read: RowReader) -> Place:
    region = read.text("region", 40)
    if plain(region) in JOB_STATES:
        read.refuse(
            "region",
            N_("This column is read as a state of the country, but it holds the state of a job."),
            N_("Call the column job_state, or map it to job_state."),
        )
    place = Place(
        customer_ref=read.text("customer_ref", 40),
        property_ref=read.text("property_ref", 40),
        name=read.name(),
        email=read.email("email"),
        phone=read.phone("phone"),
        street=read.text("street", 120),
        city=read.text("city", 80),
        postal_code=read.postal_code("postal_code", region),
    )
    pair = (place.name or place.phone or place.email) and place.street
    if not (place.property_ref or place.customer_ref or pair or read.faults):
        read.refuse(
            "",
            N_("The row does not say whose property it is."),
            N_("Write the property's or the customer's reference, or the name and the street address."),
        )
    return place


def _done_on(read: RowReader) -> dt.date | None:
    done_on = read.date("done_on")
    if done_on is not None and read.habits.today is not None and done_on > read.habits.today:
        read.refuse(
            "done_on",
            N_("The day %(day)s has not come yet."),
            N_("Correct the date; for work to come, use a column such as promised."),
            day=done_on.isoformat(),
        )
    return done_on


def _state(read: RowReader, done_on: dt.date | None) -> str:
    """As written; without a word, done if there is a date, else agreed."""
    bad = len(read.faults)
    state = read.choice("job_state", JOB_STATES)
    if len(read.faults) > bad:
        return state
    if state == "done" and not read.columns.has("done_on"):
        read.refuse(
            "job_state", N_("The job is done, but no column says when."), N_("Add a column done_on with the date.")
        )
    elif state == "done":
        read.require("done_on", done_on, N_("Write the date on which it was done."))
    elif state and done_on is not None:
        read.refuse(
            "job_state",
            N_("The job is not done by its state, but has a date on which it was done."),
            N_("Which is right? Write done, or leave the date empty."),
        )
    return state or ("done" if done_on else "agreed")


def _windows(read: RowReader) -> tuple[hours.Window, ...]:
    span = read.span("window")
    windows = read.windows("promised", span=span, promised=True)
    windows += read.windows("possible_dates", span=span, promised=False)
    first, last = read.date("first_date"), read.date("last_date")
    if first is not None and last is not None and last < first:
        read.refuse("last_date", N_("The latest day is before the earliest."), N_("Correct one of the two."))
    elif first is not None:
        start, end = span or (hours.DAY_START, hours.DAY_END)
        windows.append(hours.Window(first, last or first, start, end))
    elif last is not None:
        read.refuse("first_date", N_("There is a latest day, but no earliest."), N_("Write the earliest day too."))
    return tuple(sorted(set(windows)))
