"""Customers' files taken in: matched, counted, corrected, repeated."""

import csv
import gc
import io
import tracemalloc
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.customers.domain.faults import UnreadableFile
from jobs.customers.models import Consent, Customer, Property, Wall
from jobs.customers.services import customers_import, export_customers, import_customers
from jobs.customers.services.index import own_reference
from shared.events.models import Event
from tests.factories import make_customer, make_property, make_wall

pytestmark = pytest.mark.django_db

FILE = """Cust No,Name,Phone #,Email,Addr,City,Zip,Stories,Siding,Sq Ft,Gate,Dog,Email OK,Mystery
C-1,Ann Example,(614) 555-0101,ann@example.com,12 Elm Street,Sampleton,00001,2,vinyl,"1,800 sq ft",#4417,,yes,x
C-2,Bob Sample,614-555-0102,,3 Oak Ave,Sampleton,00001,1,brick,900,,Rex,no,
,Cay Testing,,cay@example.com,7 Ash Rd,Sampleton,00001,,,,,,,
"""


def take(text: str | bytes, **over):
    data = text.encode() if isinstance(text, str) else text
    return import_customers(io.BytesIO(data), **{"dry_run": False, "actor": None, **over})


def problems(report) -> dict[int, list[str]]:
    return {r.number: [fault.problem_text() for fault in r.faults] for r in report.refusals}


def everything() -> list[list[dict]]:
    return [list(model.objects.order_by("pk").values()) for model in (Customer, Property, Wall, Consent)]


def test_a_file_becomes_customers_properties_walls_and_consent():
    """What stands in the file stands in the rows, read and in our units."""
    report = take(FILE)
    assert (report.rows, report.created, report.refused) == (3, 3, 0)
    assert report.columns.unknown == ("Mystery",)
    ann = Customer.objects.get(reference="C-1")
    assert (ann.name, ann.phone_e164, ann.email) == ("Ann Example", "+16145550101", "ann@example.com")
    place = ann.properties.get()
    assert (place.street, place.storeys, place.gate_note) == ("12 Elm Street", 2, "#4417")
    wall = place.walls.get()
    assert (wall.material, wall.area_sqft) == ("vinyl", 1800)
    assert list(Consent.objects.order_by("pk").values_list("customer__name", "channel", "given")) == [
        ("Ann Example", "email", True),
        ("Bob Sample", "email", False),
    ]
    assert Event.objects.filter(kind="customer.created").count() == 3


def test_the_same_file_twice_changes_nothing():
    """The second time every row is unchanged, and no row of any table differs."""
    take(FILE)
    before, events = everything(), Event.objects.count()
    report = take(FILE)
    assert (report.unchanged, report.created, report.changed, report.refused) == (3, 0, 0, 0)
    assert everything() == before
    assert Event.objects.count() == events


def test_a_changed_row_updates_and_says_so():
    """Only the row that differs is changed, and only what it gives; an empty cell erases nothing."""
    take(FILE)
    changed = FILE.replace("(614) 555-0101", "614 555 0199").replace("#4417", "")
    report = take(changed)
    assert (report.changed, report.unchanged) == (1, 2)
    ann = Customer.objects.get(reference="C-1")
    assert ann.phone_e164 == "+16145550199"
    assert ann.properties.get().gate_note == "#4417"
    event = Event.objects.get(kind="customer.changed")
    assert event.data == {"fields": ["phone_e164"]}


def test_without_reference_two_agreeing_facts_make_the_same_customer():
    """Other spelling of name and street, other order of the name: still the same person and house."""
    take("Name,Phone,Address,Zip\nAnn Example,614 555 0101,12 Elm Street,00001\n")
    report = take('Name,Phone,Address,Zip\n"EXAMPLE, Ann",+1 614 555 0101,12 elm st.,00001\n')
    assert (report.created, report.changed) == (0, 1)
    assert Customer.objects.count() == Property.objects.count() == 1


def test_one_shared_fact_is_not_enough():
    """A couple with one telephone number, and a namesake across town, stay separate customers."""
    take(
        "Name,Phone,Address\nAnn Example,614 555 0101,12 Elm St\nBo Example,614 555 0101,\n"
        "Ann Example,614 555 0102,9 Pine St\n"
    )
    assert Customer.objects.count() == 3


def test_a_row_that_fits_several_customers_is_a_question():
    """Nobody is picked: the numbers of those who fit are named."""
    one, two = (
        make_customer(name="Ann A", phone_e164="+16145550101"),
        make_customer(name="Ann A", email="ann@example.com", phone_e164=""),
    )
    report = take("Name,Phone,Email\nAnn A,614 555 0101,ann@example.com\n")
    assert report.refused == 1
    names = [own_reference(one), own_reference(two)]
    assert problems(report) == {2: [f"Several customers fit: {', '.join(names)}."]}
    assert take(f"customer_ref,Name,Phone\n{names[1]},Ann A,614 555 0102\n").changed == 1
    two.refresh_from_db()
    assert two.phone_e164 == "+16145550102"


def test_a_name_alone_does_not_reach_a_fuller_record():
    """A bare name might be anybody of that name, so it is asked about; a record that is a bare name is matched."""
    take("Name,Customer notes\nDee Only,one\n")
    assert take("Name,Customer notes\nDee Only,two\n").changed == 1
    make_customer(name="Eve Full")
    assert take("Name,Customer notes\nEve Full,two\n").refused == 1


def test_rows_of_one_file_that_contradict_each_other_are_refused():
    """The second of two rows about one customer must not undo the first, now or at the next import."""
    text = "Cust No,Name,Phone,Address\nC-1,Ann,614 555 0101,1 Elm St\nC-1,Ann,614 555 0102,2 Elm St\n"
    for _ in range(2):
        report = take(text)
        assert problems(report) == {3: ["Row 2 says something else here about the same customer."]}
    assert Customer.objects.get().phone_e164 == "+16145550101"
    assert Property.objects.count() == 1


def test_rows_that_hang_on_a_refused_row_wait_for_its_correction():
    """Otherwise the second import, which knows the later row, would read the refused one in another way."""
    text = (
        "Cust No,Name,Phone,Address,Email\n"
        ",Ann,614 555 0101,3 Ash Rd,ann@example.com\n"
        "C-2,Ann Example,614 555 0101,3 Ash Rd,\n"
        "C-1,Ann,,2 Oak Ave,ann@example.com\n"
    )
    for _ in range(2):
        report = take(text)
        assert problems(report) == {
            3: ["Row 2 says something else here about the same customer."],
            4: ["Row 3, which may be about the same customer or property, was refused."],
        }
    assert Customer.objects.get().reference is None


def test_one_property_has_one_reference():
    """A second reference for the same street of the same customer is a question."""
    report = take("Cust No,Name,Property no,Address\nC-1,Ann,P-1,2 Oak Ave\nC-1,Ann,P-2,2 Oak Avenue\n")
    assert problems(report) == {3: ["The property at this street has the reference P-1."]}


def test_two_properties_of_one_customer():
    """Rows with the same customer and different streets make one customer with two properties, once."""
    text = "Cust No,Name,Address\nC-1,Ann,1 Elm St\nC-1,Ann,2 Elm St\nC-1,Ann,2 Elm St\n"
    report = take(text)
    assert (report.created, report.changed, report.unchanged) == (1, 1, 1)
    assert Property.objects.count() == 2
    assert take(text).unchanged == 3


def test_a_property_of_somebody_else_is_a_question():
    """A reference that another customer's property carries is not moved silently."""
    make_property(reference="P-1", customer=make_customer(name="Old Owner"))
    report = take("Name,Property no,Address\nNew Owner,P-1,1 Elm St\n")
    assert problems(report) == {2: ["This property belongs to another customer."]}
    assert not Customer.objects.filter(name="New Owner").exists()


def test_walls_that_were_looked_at_are_not_overwritten():
    """A rough siding column does not add to walls that are recorded one by one."""
    place = make_property(customer=make_customer(name="Ann", reference="C-1"))
    make_wall(property=place, name="north wall")
    report = take(f"Cust No,Name,Address,Zip,Siding\nC-1,Ann,{place.street},00001,brick\n")
    assert problems(report) == {2: ["The walls of this property are recorded one by one."]}


def test_a_dry_run_says_the_same_and_does_nothing():
    """The preview counts what the real import then counts, and leaves the tables as they were."""
    bad = FILE + "C-9,,,,,,,,,,,,,\n"
    dry = take(bad, dry_run=True)
    assert not Customer.objects.exists()
    assert not Event.objects.exists()
    real = take(bad)
    names = ("rows", "created", "changed", "unchanged", "refused")
    assert [getattr(dry, n) for n in names] == [getattr(real, n) for n in names] == [4, 3, 0, 0, 1]


def test_refused_rows_can_be_corrected_and_imported_again(tmp_path: Path):
    """The corrections file holds the refused rows whole, with the reason; corrected, it goes in."""
    path = tmp_path / "corrections.csv"
    text = "Name;Phone;Address;Extra\nAnn;12;1 Elm St;=1+1\nBob;614 555 0102;2 Elm St;\nCay;;;;;surplus\n"
    report = take(text, corrections=path)
    assert (report.created, report.refused) == (1, 2)
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["row"] for row in rows] == ["2", "4"]
    assert rows[0]["Extra"] == "'=1+1"
    assert rows[0]["problem"] == "Phone: This is not one telephone number."
    assert rows[1]["surplus 2"] == "surplus"
    corrected = path.read_text(encoding="utf-8-sig").replace(",12,", ",614 555 0101,").replace(",surplus,", ",,")
    again = take(corrected, corrections=tmp_path / "again.csv")
    assert (again.created, again.refused) == (2, 0), problems(again)
    assert set(again.columns.unknown) == {"Extra", "surplus 1", "surplus 2"}
    assert again.corrections is None


def test_exports_come_back_unchanged():
    """Every column of the export is read back as what is stored, formulas and odd spaces included."""
    take(FILE)
    customer = make_customer(
        name="=HYPERLINK(1)", note="two\nlines  and spaces", phone_e164="+442079460123", email="A@Example.com"
    )
    make_property(customer=customer, gate_note="-4 then +2", pet_note="'@dog", latitude=-40.123456789, longitude=-0.5)
    make_property(customer=customer, reference="P 7")
    make_customer(name="No house", phone_e164="", email="")
    before = everything()
    out = io.StringIO(newline="")
    assert export_customers(out) == 6
    report = take(out.getvalue())
    assert (report.rows, report.unchanged) == (6, 6), problems(report)
    assert everything() == before
    assert not report.columns.unknown


def test_names_that_another_database_gave_are_not_believed():
    """The export's name for a row fits one row of one database; elsewhere the facts decide."""
    mine = make_customer(name="Mine", phone_e164="", email="mine@example.com")
    foreign = f"#{mine.pk}-00000000"
    text = f"customer_ref,customer_name,email\n{foreign},Foreign,foreign@example.com\n"
    assert take(text).created == 1
    mine.refresh_from_db()
    assert mine.name == "Mine"
    assert Customer.objects.get(name="Foreign").reference is None
    assert take(text).unchanged == 1


def test_mapping_overrides_and_ignores():
    """A heading goes where the person says; "-" leaves a column out."""
    report = take("Who,Name\nAnn,ignored\n", mapping={"who": "customer_name", "Name": "-"})
    assert report.created == 1
    assert Customer.objects.get().name == "Ann"


@pytest.mark.parametrize(
    ("text", "mapping", "sentence"),
    [
        ("", None, "The file is empty."),
        ("\n\n", None, "The file holds no rows"),
        ("a,b\n1,2\n", None, "No column was recognised"),
        ("Name,Tel,Mobile\nA,1,2\n", None, "Several columns could be “phone”: Tel, Mobile."),
        ("Name\nA\n", {"Nome": "customer_name"}, "The file has no column “Nome”"),
        ("Name\nA\n", {"Name": "nonsense"}, "There is no field “nonsense”"),
        ("Name,Who\nA,B\n", {"Name": "customer_name", "Who": "customer_name"}, "mapped to two columns"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_as_a_whole(text, mapping, sentence):
    """One clear sentence, and nothing is stored."""
    with pytest.raises(UnreadableFile, match=sentence):
        take(text, mapping=mapping)
    assert not Customer.objects.exists()


def test_a_crash_in_the_middle_keeps_earlier_batches_and_a_rerun_completes(monkeypatch):
    """Batches are transactions of their own: what broke the third leaves the first two, and once more does the rest."""
    text = "Name,Email,Address\n" + "".join(f"P {i},p{i}@example.com,{i} Elm St\n" for i in range(1, 701))
    real, calls = customers_import.Changes.store, []

    def breaks(self, index):
        calls.append(1)
        if len(calls) == 3:
            raise RuntimeError("the machine went down")
        real(self, index)

    monkeypatch.setattr(customers_import.Changes, "store", breaks)
    with pytest.raises(RuntimeError):
        take(text)
    assert Customer.objects.count() == 400
    report = take(text)
    assert (report.created, report.unchanged) == (300, 400)
    assert Customer.objects.count() == Property.objects.count() == 700


def test_a_row_that_the_database_refuses_costs_no_other(monkeypatch):
    """If a whole batch fails on one row, the rows are stored one by one and only that one is refused."""
    real = customers_import.Changes.store

    def twice(self, index):
        for known in self.new_customers:
            if known.customer.name == "Bob":
                known.customer.reference = "C-1"  # as if somebody else had stored it just now
        real(self, index)

    monkeypatch.setattr(customers_import.Changes, "store", twice)
    report = take("Cust No,Name\nC-1,Ann\nC-2,Bob\nC-3,Cay\n")
    assert (report.created, report.refused) == (2, 1)
    assert list(Customer.objects.order_by("pk").values_list("name", flat=True)) == ["Ann", "Cay"]


def big_file(rows: int, note: str = "") -> bytes:
    lines = ["Cust No,Name,Phone,Email,Address,City,Zip,Siding,Sq Ft,Email OK,Notes"]
    lines += [
        f"C-{i},Person {i},(614) 555-{i:04d},p{i}@example.com,{i} Elm St,Sampleton,00001,vinyl,1800,yes,{note}"
        for i in range(rows)
    ]
    return "\n".join(lines).encode()


def test_five_thousand_rows_with_few_queries():
    """About a dozen queries for 200 rows, and progress told after each batch."""
    told = []
    with CaptureQueriesContext(connection) as queries:
        report = take(big_file(5000), progress=lambda done, total: told.append((done, total)))
    assert report.created == 5000
    assert len(queries) <= 25 * 20
    assert told[-1] == (5000, 5000)
    assert len(told) >= 25


def test_memory_does_not_hold_the_file():
    """Rows with notes of 3,900 characters add less than that to the peak: an index for matching, no rows."""
    peaks = []
    for rows in (400, 800):
        data = big_file(rows, "n" * 3900)
        gc.collect()
        tracemalloc.start()
        take(data, dry_run=True)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert (peaks[1] - peaks[0]) / 400 < 3_900
