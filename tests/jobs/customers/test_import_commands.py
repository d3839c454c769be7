"""The commands: options, words, exit codes."""

import io
import json
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from jobs.customers.models import Customer
from jobs.work.models import Job
from tests.factories import make_customer, make_job, make_property, make_service

pytestmark = pytest.mark.django_db


def run(*words: str) -> str:
    out = io.StringIO()
    call_command(*words, stdout=out)
    return out.getvalue()


@pytest.fixture
def good(tmp_path: Path) -> Path:
    path = tmp_path / "customers.csv"
    path.write_text("Name,Phone\nAnn Example,(614) 555-0101\n", encoding="utf-8")
    return path


def test_an_import_says_what_it_did(good):
    """Counts in one line, columns that were not used, no exit code."""
    assert run("import_customers", str(good)).startswith("1 rows: 1 new, 0 changed, 0 as they are, 0 refused.")
    assert "0 new, 0 changed, 1 as they are" in run("import_customers", str(good))


def test_a_dry_run_changes_nothing(good):
    """The words say would be, the tables stay, no corrections file is written."""
    good.write_text(good.read_text() + "Bob,12\n")
    with pytest.raises(CommandError) as refusal:
        run("import_customers", str(good), "--dry-run")
    assert refusal.value.returncode == 1
    assert not Customer.objects.exists()
    assert [path.name for path in good.parent.iterdir()] == ["customers.csv"]


def test_refused_rows_leave_with_one_and_a_file(good, capsys):
    """Each fault with row, column, value and what to do; all of them beside the file, ready to be corrected."""
    good.write_text(good.read_text() + "Bob,12\n")
    out = io.StringIO()
    with pytest.raises(
        CommandError, match="1 of 2 rows were refused. They are in .*customers-corrections.csv"
    ) as refusal:
        call_command("import_customers", str(good), stdout=out)
    assert refusal.value.returncode == 1
    assert "row 3, Phone “12”: This is not one telephone number. Write one number" in out.getvalue()
    corrections = good.parent / "customers-corrections.csv"
    corrections.write_text(corrections.read_text("utf-8-sig").replace("Bob,12,", "Bob,614 555 0102,"), encoding="utf-8")
    assert "1 new" in run("import_customers", str(corrections))


def test_json(good):
    """One object, counts and columns included."""
    report = json.loads(run("import_customers", str(good), "--json", "--dry-run"))
    assert (report["rows"], report["created"], report["refused"]) == (1, 1, 0)
    assert report["columns"] == {"Name": "customer_name", "Phone": "phone"}


def test_mapping(good):
    """Headings with equals signs too."""
    good.write_text("a=b,Tel\nAnn,614 555 0101\n")
    run("import_customers", str(good), "--map", "a=b=customer_name")
    assert Customer.objects.get().name == "Ann"


@pytest.mark.parametrize(
    ("content", "words", "sentence"),
    [
        (None, (), "cannot be opened"),
        (b"", (), "The file is empty."),
        (b"a,b\n1,2\n", (), "No column was recognised"),
        (b"Name\nAnn\n", ("--map", "nonsense"), "Write --map"),
        (b"Name\nAnn\n", ("--map", "Nome=customer_name"), "The file has no column “Nome”"),
    ],
)
def test_a_file_that_cannot_be_used_leaves_with_two(tmp_path, content, words, sentence):
    """One clear sentence, code 2, nothing stored."""
    path = tmp_path / "list.csv"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(CommandError, match=sentence) as refusal:
        run("import_customers", str(path), *words)
    assert refusal.value.returncode == 2
    assert not Customer.objects.exists()


def test_jobs_with_a_date_order(tmp_path):
    """The declared order answers what the file leaves open."""
    make_service(code="house-wash", name="House wash")
    make_property(customer=make_customer(reference="C-1"))
    path = tmp_path / "jobs.csv"
    path.write_text("Cust No,Service,Price,Minutes,Done\nC-1,House wash,300,90,5/4/2025\n")
    with pytest.raises(CommandError, match="1 of 1 rows were refused"):
        run("import_jobs", str(path))
    assert "1 new" in run("import_jobs", str(path), "--date-order", "mdy")
    assert Job.objects.get().state == "done"


@pytest.mark.parametrize("kind", ["customers", "jobs"])
def test_exports_come_back_unchanged(tmp_path, kind):
    """Written to a file and imported again, every row is as it is; printed, it is the same table."""
    make_job(property=make_property(customer=make_customer(name="Zoë")))
    path = tmp_path / "out.csv"
    assert run(f"export_{kind}", str(path)) == f"1 rows in {path}.\n"
    assert "0 new, 0 changed, 1 as they are, 0 refused" in run(f"import_{kind}", str(path))
    assert run(f"export_{kind}").splitlines() == path.read_text("utf-8-sig").splitlines()
