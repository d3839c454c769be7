"""Random files into a real database: never a crash, never a lost row, never a difference the second time."""

import csv
import io
from datetime import UTC, datetime

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from jobs.customers.models import Consent, Customer, Property, Wall
from jobs.customers.services import import_customers, import_jobs
from jobs.work.models import Job, JobLine, JobWindow, ServiceInterval, Visit, VisitLine
from pricing.earnings.models import EarningEntry
from tests.factories import make_customer, make_property, make_service

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
TABLES = (Customer, Property, Wall, Consent, Job, JobLine, JobWindow, ServiceInterval, Visit, VisitLine, EarningEntry)


def mostly(*good, bad):
    """Nine times in ten one of the good ones."""
    return st.sampled_from([*good] * (9 * len(bad)) + [*bad] * len(good))


REFERENCES = mostly("", "", "", "R-1", "R-2", "R-3", bad=["#1", "#1-00000000", "#999999999999999999999-ffffffff"])
CUSTOMER_ROWS = st.lists(
    st.tuples(
        REFERENCES,
        mostly("Ann", "Bob", "ANN", "Ann Example", "Zoë", "=Ann", bad=["", "a\x00b"]),
        mostly("", "(614) 555-0101", "614 555 0102", bad=["12", "555-0101 x3"]),
        mostly("", "ann@example.com", "Bob@Example.com", bad=["nobody"]),
        mostly("", "", "R-1", "R-2", bad=["#1-00000000"]),
        mostly("1 Elm Street", "1 elm st.", "2 Oak Ave", "2 Oak Avenue", "3 Ash Rd", bad=[""]),
        mostly("", "00001", "00002", bad=["4321"]),
        mostly("", "2", bad=["9", "two"]),
        mostly("", "vinyl", "brick", bad=["cheese"]),
        mostly("", "1,800 sq ft", "170 m2", bad=["1.800"]),
        mostly("", "yes", "no", bad=["perhaps"]),
        st.one_of(st.just(""), st.text(st.characters(codec="utf-8"), max_size=10)),
    ),
    max_size=12,
)
CUSTOMER_HEADER = [
    "Cust No", "Name", "Phone", "Email", "Property no", "Addr", "Zip", "Stories", "Siding", "Area", "Text OK", "Notes",
]  # fmt: skip
JOB_ROWS = st.lists(
    st.tuples(
        REFERENCES,
        mostly("P-1", "P-1", "P-2", bad=["P-9", ""]),
        mostly("Ann", "", bad=["Nobody"]),
        mostly("", "1 Elm Street", bad=["9 Elm Street"]),
        mostly("House wash", "gutters", bad=["Painting"]),
        mostly("", "1800", bad=["x"]),
        mostly("300", "$310.00", bad=["(5)", ""]),
        mostly("60", "1 h 30", bad=["", "soon"]),
        mostly("", "", "", "agreed", "lead", "declined", "called off", bad=["planned", "done"]),
        mostly("", "", "", "2025-05-13", "5/13/2025", "2024-02-29", bad=["14/5/2025", "4/5/2025", "2030-01-01"]),
        mostly("", "2026-06-04", "2026-06-05..2026-06-09", bad=["6/7/2026"]),
        mostly("", "8-10", bad=["10-8"]),
        mostly("", "10", bad=["500"]),
        mostly("", "", "12", "6", bad=["0"]),
    ),
    max_size=12,
)
JOB_HEADER = [
    "Job no", "Property no", "Name", "Address", "Service", "Qty", "Price", "Minutes", "Status", "Done",
    "Possible dates", "Window", "Discount", "Interval",
]  # fmt: skip
# Without shrinking: each try imports three times, and a failure would take minutes to say the same in fewer words.
PHASES = (Phase.explicit, Phase.reuse, Phase.generate)
RANDOM = settings(deadline=None, max_examples=40, phases=PHASES, suppress_health_check=list(HealthCheck))


def file_of(header, rows) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out).writerows([header, *rows])
    return out.getvalue().encode()


def everything() -> list[list[dict]]:
    return [list(model.objects.order_by("pk").values()) for model in TABLES]


def check(take, data: bytes, rows_in: int) -> None:
    """A dry run foretells the import; no row is lost; the second import changes nothing."""
    with transaction.atomic():
        before = everything()
        dry = take(io.BytesIO(data), dry_run=True)
        assert everything() == before
        first = take(io.BytesIO(data), dry_run=False)
        assert first.rows == rows_in == first.imported + first.refused
        counted = ("created", "changed", "unchanged", "refused")
        assert [getattr(dry, name) for name in counted] == [getattr(first, name) for name in counted]
        stored = everything()
        second = take(io.BytesIO(data), dry_run=False)
        assert (second.rows, second.created, second.changed) == (rows_in, 0, 0)
        assert second.unchanged + second.refused == rows_in
        assert everything() == stored
        transaction.set_rollback(True)


@RANDOM
@given(CUSTOMER_ROWS)
def test_customers(rows):
    """References that are wrong, shared or ours, people who may be one, values of every kind."""
    written = sum(any(cell.strip() for cell in row) for row in rows)

    def take(file, *, dry_run):
        return import_customers(file, dry_run=dry_run, actor=None, now=NOW)

    check(take, file_of(CUSTOMER_HEADER, rows), written)


@pytest.fixture
def two_homes(db):
    make_service(code="house-wash", name="House wash", interval_months=12)
    make_service(code="gutters", name="Gutter clearing", unit="each", interval_months=None)
    ann = make_customer(name="Ann", phone_e164="+16145550101")
    make_property(customer=ann, reference="P-1", street="1 Elm Street")
    make_property(customer=ann, reference="P-2", street="2 Oak Ave")


@RANDOM
@given(rows=JOB_ROWS)
def test_jobs(two_homes, rows):
    """Open and done, with and without references, dates of three traditions, windows of every kind."""
    written = sum(any(cell.strip() for cell in row) for row in rows)

    def take(file, *, dry_run):
        return import_jobs(file, dry_run=dry_run, actor=None, now=NOW)

    check(take, file_of(JOB_HEADER, rows), written)
