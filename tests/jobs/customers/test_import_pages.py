"""The import as pages: upload, preview with a choice for each column, confirm, corrections."""

import io
import os
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import openpyxl
import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from jobs.customers.models import Customer
from jobs.customers.services import uploads_sweep
from jobs.work.models import Visit
from tests.factories import make_customer, make_property, make_service

pytestmark = pytest.mark.django_db
FILE = b"Who,Phone,Addr,Odd\nAnn Example,(614) 555-0101,12 Elm St,x\nBob Sample,12,3 Oak Ave,y\n"


@pytest.fixture
def client(office, client_of):
    return client_of(office)


def waiting() -> list[Path]:
    folder = Path(settings.DATA_DIR) / "imports"
    return [path for path in folder.iterdir() if not path.suffix] if folder.exists() else []


def upload(client, data: bytes, kind: str = "customers", name: str = "list.csv") -> str:
    """Send a file in; the address of its preview."""
    answer = client.post(reverse("customers:import_start"), {"kind": kind, "file": SimpleUploadedFile(name, data)})
    assert answer.status_code == 302, answer.content
    return answer["Location"]


def hidden_fields(text: str) -> dict[str, str]:
    """What the confirm form would send."""
    form = text[text.index("/confirm/") :]
    return dict(re.findall(r'<input type="hidden" name="((?:column_\d+|date_order))" value="([^"]*)"', form))


def test_from_upload_to_report(client):
    """The preview changes nothing; the chosen columns are used; the report names what was refused; the file is gone."""
    before = set(waiting())
    address = upload(client, FILE)
    first = client.get(address)
    assert first.status_code == 200
    assert "Write the customer" in first.content.decode()
    chosen = client.get(address, {"column_0": "customer_name"})
    text = chosen.content.decode()
    assert "This is not one telephone number." in text
    assert "Take in 1 row<" in text
    assert not Customer.objects.exists()
    assert len(set(waiting()) - before) == 1
    done = client.post(f"{address}confirm/", hidden_fields(text), follow=True)
    assert [customer.name for customer in Customer.objects.all()] == ["Ann Example"]
    assert "1 of 2 rows were taken in." in done.content.decode()
    assert set(waiting()) == before
    corrections = client.get(re.search(r'href="([^"]*/corrections/[^"]*)"', done.content.decode())[1])
    assert corrections["Content-Type"] == "text/csv"
    assert "Bob Sample,12,3 Oak Ave,y,3,Phone: This is not one telephone number." in corrections.content.decode(
        "utf-8-sig"
    )


def test_htmx_renews_the_preview_only(client):
    """A changed select brings the part; without JavaScript the same address is a page."""
    address = upload(client, FILE)
    part = client.get(address, {"column_0": "customer_name"}, headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in part
    assert "Take in 1 row<" in part


def test_doubtful_columns_are_shown_with_their_selects(client):
    """Two columns for one field: no report, but the sentence and the selects to settle it."""
    address = upload(client, b"Name,Tel,Mobile\nAnn,614 555 0101,614 555 0102\n")
    text = client.get(address).content.decode()
    assert "Several columns could be" in text
    assert "Take in" not in text
    assert text.count("(which is it?)") == 2
    # What the page sends when only the last select was touched.
    settled = client.get(address, {"column_0": "customer_name", "column_1": "", "column_2": "-"}).content.decode()
    assert "Take in 1 row<" in settled
    assert hidden_fields(settled) == {"column_0": "customer_name", "column_1": "phone", "column_2": "-"}


def test_jobs_with_a_declared_order_of_dates(client):
    """5/4/2025 is asked about, until the page is told how it is meant."""
    make_service(code="house-wash", name="House wash")
    make_property(customer=make_customer(reference="C-1"))
    address = upload(client, b"Cust No,Service,Price,Minutes,Done\nC-1,House wash,300,90,5/4/2025\n", kind="jobs")
    assert "Is 5 the month or the day?" in client.get(address).content.decode()
    text = client.get(address, {"date_order": "dmy"}).content.decode()
    assert "Take in 1 row<" in text
    client.post(f"{address}confirm/", {**hidden_fields(text), "date_order": "dmy"})
    assert Visit.objects.get().work_date.isoformat() == "2025-04-05"


def test_a_workbook_is_taken_too(client):
    """XLSX by its content, whatever it is called."""
    book, out = openpyxl.Workbook(), io.BytesIO()
    book.active.append(["Name", "Phone"])
    book.active.append(["Ann", 6145550101])
    book.save(out)
    text = client.get(upload(client, out.getvalue(), name="anything")).content.decode()
    assert "Take in 1 row<" in text


def test_a_file_that_is_none_says_so_and_is_removed(client):
    """One sentence, status 422, nothing left behind."""
    before = set(waiting())
    answer = client.get(upload(client, b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1old"))
    assert answer.status_code == 422
    assert "save it as .xlsx or as CSV" in answer.content.decode()
    assert set(waiting()) == before


def test_no_file_no_preview(client):
    """The form says what is missing."""
    answer = client.post(reverse("customers:import_start"), {"kind": "customers"})
    assert answer.status_code == 422


@pytest.mark.parametrize("token", ["..", "nothing", "a" * 32, "..%2F..%2Fsecret_key", "%00" * 8])
def test_tokens_that_are_none_are_not_found(client, token):
    """Neither another file's path nor a made-up token opens anything."""
    for address in (f"/customers/import/customers/{token}/", f"/customers/import/corrections/{token}/"):
        assert client.get(address).status_code == 404
    assert client.post(f"/customers/import/customers/{token}/confirm/").status_code == 404


def test_an_unknown_kind_is_not_found(client):
    """Only customers and jobs are brought in."""
    token = upload(client, FILE).rstrip("/").rpartition("/")[2]
    assert client.get(f"/customers/import/cars/{token}/").status_code == 404
    assert client.get("/customers/export/cars/").status_code == 404


def test_a_crew_lead_cannot_import_or_export(crew_lead, client_of):
    """Neither start, preview, confirm nor the files."""
    client = client_of(crew_lead)
    for address in ("/customers/import/", f"/customers/import/customers/{'a' * 32}/", "/customers/export/customers/"):
        assert client.get(address).status_code == 403
    assert client.post(f"/customers/import/customers/{'a' * 32}/confirm/").status_code == 403


def test_what_nobody_came_back_for_is_swept(client):
    """Files older than a day go; younger ones stay."""
    upload(client, FILE)
    old, young = waiting()[0], upload(client, FILE)
    now = datetime.now(UTC)
    os.utime(old, (0, (now - timedelta(hours=25)).timestamp()))
    assert uploads_sweep(now=now) == 1
    assert not old.exists()
    assert client.get(young).status_code == 200


def test_the_export_comes_back_through_the_page(client):
    """Saved as a file and sent in again: every row is as it is."""
    make_property(customer=make_customer(name='=Ann, "the" Zoë'), gate_note="@gate")
    answer = client.get("/customers/export/customers/")
    assert answer.content.startswith("\ufeffcustomer_ref,".encode())
    text = client.get(upload(client, answer.content)).content.decode()
    assert re.search(r"as they are</dt><dd>1</dd>", text)
