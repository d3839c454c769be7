"""Write customers and jobs in the shape that the imports read; read again, they change nothing."""

from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from typing import TextIO, TypeVar

from django.db.models import QuerySet

from jobs.customers.domain.cells import Cell
from jobs.customers.domain.hours import windows_as_written
from jobs.customers.domain.outfiles import CsvOut
from jobs.customers.domain.values import phone_as_written
from jobs.customers.domain.vocabulary import CUSTOMER_FIELDS, JOB_FIELDS
from jobs.customers.models import Customer, Property
from jobs.work.models import Job, ServiceInterval
from shared.company.selectors import company_get

from .customers_store import Known, load_known
from .index import own_reference
from .jobs_store import KnownJob, KnownLine, known_jobs

CHUNK = 200
# Names are written whole; opting out is written as a no to each channel; days are written as possible days.
LEFT_OUT = frozenset(("first_name", "last_name", "do_not_contact", "first_date", "last_date", "window"))
CUSTOMER_COLUMNS = tuple(field.name for field in CUSTOMER_FIELDS if field.name not in LEFT_OUT)
JOB_COLUMNS = tuple(field.name for field in JOB_FIELDS if field.name not in LEFT_OUT)
Cells = dict[str, Cell]
Item = TypeVar("Item")
Counted = Callable[[int], None]


def export_customers(file: TextIO, *, progress: Counted | None = None) -> int:
    """Write every property with its customer, and customers without one; the number of rows.

    `file` must be opened with newline="" and outfiles.ENCODING.
    """
    return _write(file, CUSTOMER_COLUMNS, _customer_rows(), progress)


def export_jobs(file: TextIO, *, with_wages: bool = True, progress: Counted | None = None) -> int:
    """Write every line of every job, the rows of one job below each other; the number of rows.

    `file` must be opened with newline="" and outfiles.ENCODING. Wages are for the owner alone: without them their
    column is not there, and reading the file back leaves them as they are.
    """
    columns = JOB_COLUMNS if with_wages else tuple(name for name in JOB_COLUMNS if name != "wages")
    return _write(file, columns, _job_rows(), progress)


def _write(file: TextIO, columns: tuple[str, ...], rows: Iterable[Cells], progress: Counted | None) -> int:
    out, written = CsvOut(file, columns), 0
    for row in rows:
        out.write(row.get(name) for name in columns)
        written += 1
        if progress is not None:
            progress(written)
    return written


def _chunks(items: Iterable[Item]) -> Iterator[list[Item]]:
    source = iter(items)
    while chunk := list(islice(source, CHUNK)):
        yield chunk


def _reference(row: Customer | Property | Job) -> str:
    return row.reference or own_reference(row)


def _customer_rows() -> Iterator[Cells]:
    country = company_get().country
    ids = Customer.objects.filter(merged_into__isnull=True).order_by("pk").values_list("pk", flat=True)
    for chunk in _chunks(ids.iterator(chunk_size=CHUNK)):
        for known in load_known(chunk).values():
            whose = _whose(known, country)
            yield from ({**whose, **_place_cells(known, place)} for place in known.properties)
            if not known.properties:
                yield whose


def _whose(known: Known, country: str) -> Cells:
    customer = known.customer
    return {
        "customer_ref": _reference(customer),
        "customer_name": customer.name,
        "email": customer.email,
        "phone": phone_as_written(customer.phone_e164, region=country),
        "language": customer.language,
        "source": customer.source,
        "customer_note": customer.note,
        "email_consent": known.consents.get("email"),
        "text_consent": known.consents.get("text"),
    }


def _place_cells(known: Known, place: Property) -> Cells:
    wall = known.walls.get(id(place))
    return {
        "property_ref": _reference(place),
        **{name: getattr(place, name) for name in ("street", "city", "region", "postal_code", "storeys")},
        **{name: getattr(place, name) for name in ("latitude", "longitude", "year_built", "gate_note", "pet_note")},
        "property_note": place.note,
        "siding": wall.material if wall else None,
        "siding_colour": wall.colour if wall else None,
        "wall_area": wall.area_sqft if wall else None,
    }


def _jobs() -> QuerySet[Job]:
    return Job.objects.select_related("property__customer", "callback_of").order_by("pk")


def _job_rows() -> Iterator[Cells]:
    country = company_get().country
    for chunk in _chunks(_jobs().iterator(chunk_size=CHUNK)):
        months = _months(chunk)
        for known in known_jobs(chunk):
            job = _job_cells(known, country)
            for line in known.lines:
                key = (known.job.property_id, line.line.service_id)
                yield {**job, **_line_cells(known, line), "interval_months": months.get(key)}


def _months(jobs: list[Job]) -> dict[tuple[int, int], int]:
    rows = ServiceInterval.objects.filter(property__in={job.property_id for job in jobs})
    return {(row.property_id, row.service_id): row.interval_months for row in rows}


def _job_cells(known: KnownJob, country: str) -> Cells:
    job, place, customer = known.job, known.job.property, known.job.property.customer
    is_done = job.state == "done"
    windows = [] if is_done else sorted(known.windows)
    return {
        "job_ref": _reference(job),
        "customer_ref": _reference(customer),
        "customer_name": customer.name,
        "email": customer.email,
        "phone": phone_as_written(customer.phone_e164, region=country),
        "property_ref": _reference(place),
        **{name: getattr(place, name) for name in ("street", "city", "region", "postal_code")},
        "discount": _amount(job.discount_cents) if job.discount_cents else None,
        "workers": known.visit.workers if is_done and known.visit else None,
        "job_state": job.state,
        "done_on": known.visit.work_date if is_done and known.visit else None,
        "promised": windows_as_written(windows, promised=True),
        "possible_dates": windows_as_written(windows, promised=False),
        "callback_of": _reference(job.callback_of) if job.callback_of else None,
        "job_note": job.note,
    }


def _line_cells(known: KnownJob, known_line: KnownLine) -> Cells:
    line, booked = known_line.line, known_line.booked
    is_done = known.job.state == "done"
    return {
        "service": line.service.code,
        "quantity": line.quantity or None,
        "price": _amount(line.price_cents),
        "materials": _amount(booked.materials_cents if booked else line.materials_cents),
        "minutes": (booked.minutes if booked else None) if is_done else line.estimated_minutes,
        "drive_minutes": (booked.drive_minutes or None) if is_done and booked else None,
        "wages": _amount(booked.wage_cents or None) if is_done and booked else None,
        "line_note": line.note,
    }


def _amount(cents: int | None) -> str | None:
    """Cents as a plain number with a point, which reads the same in every country."""
    if cents is None:
        return None
    return f"{'-' if cents < 0 else ''}{abs(cents) // 100}.{abs(cents) % 100:02d}"
