"""Files of every kind that spreadsheets write, and files that nobody should be able to write."""

import csv
import datetime as dt
import io
import zipfile

import openpyxl
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from jobs.customers.domain import xlsx_tables
from jobs.customers.domain.cells import BadCell, cell_text
from jobs.customers.domain.columns import recognise
from jobs.customers.domain.customer_rows import CustomerRow, read_customer_row
from jobs.customers.domain.faults import Fault, UnreadableFile
from jobs.customers.domain.job_rows import JobRow, KnownService, read_job_row, service_words
from jobs.customers.domain.outfiles import CsvOut
from jobs.customers.domain.reading import Habits
from jobs.customers.domain.tables import open_table
from jobs.customers.domain.vocabulary import CUSTOMER_FIELDS, JOB_FIELDS


def table_of(data: bytes):
    return open_table(io.BytesIO(data))


def texts(table) -> list[list[str]]:
    return [[cell_text(cell) for cell in row.cells] for row in table.rows()]


def workbook(*rows, change=None) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    if change:
        change(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le-bom", "utf-16-be-bom", "utf-32", "cp1252"]
)
def test_encodings_and_separators(encoding, separator):
    """José and Müller arrive whole whatever program wrote the file."""
    text = f"Name{separator}City\r\nJosé Müller{separator}Sampleton\r\n"
    marks = {"utf-16-le-bom": ("utf-16-le", b"\xff\xfe"), "utf-16-be-bom": ("utf-16-be", b"\xfe\xff")}
    codec, mark = marks.get(encoding, (encoding, b""))
    table = table_of(mark + text.encode(codec))
    assert table.header == ("Name", "City")
    assert texts(table) == [["José Müller", "Sampleton"]]


def test_a_declared_separator():
    """The line sep=; that some spreadsheets write is no row."""
    table = table_of(b"sep=;\nName;City\nAnn;A,B,C\n")
    assert table.header == ("Name", "City")
    assert [(row.number, cell_text(row.cells[1])) for row in table.rows()] == [(3, "A,B,C")]


def test_commas_inside_a_semicolon_file():
    """The separator that makes the most columns of the header wins over commas in the data."""
    assert table_of(b"Last, First;City;Zip\nA, B;C;1\n").header == ("Last, First", "City", "Zip")


def test_one_broken_byte_does_not_spoil_the_other_names():
    """A UTF-8 file with a damaged cell stays UTF-8; the damaged cell keeps its mark and is refused."""
    rows = texts(table_of("Name\nJosé\n".encode() + b"M\xffller\n"))
    assert rows == [["José"], ["M�ller"]]


def test_quotes_newlines_and_row_numbers():
    """A cell may hold separators, quotes and line breaks; numbers are those a spreadsheet shows."""
    table = table_of(b'\nName,Note\n"A ""B"", C","two\nlines"\n\n ,\nD,x\n')
    assert [(row.number, [cell_text(c) for c in row.cells]) for row in table.rows()] == [
        (3, ['A "B", C', "two\nlines"]),
        (6, ["D", "x"]),
    ]


def test_short_rows_are_filled_and_long_ones_faulty():
    """A missing tail is empty; surplus cells cannot be placed, unless they are blank."""
    rows = list(table_of(b"A,B\n1\n1,2, ,\n1,2,3\n").rows())
    assert [len(row.cells) for row in rows] == [2, 2, 3]
    assert [bool(row.faults) for row in rows] == [False, False, True]


def test_a_quotation_mark_that_is_never_closed():
    """The row that swallowed the rest is faulty, keeps the text, and says how many lines it took."""
    rows = list(table_of(b'Name,Note\nA,1\nB,"open\nC,3\nD,4\n').rows())
    assert [row.number for row in rows] == [2, 3]
    assert "3 lines" in rows[1].faults[0].problem_text()
    assert "D,4" in cell_text(rows[1].cells[1])


def test_a_cell_of_ten_megabytes_costs_only_its_row():
    """The huge cell makes its own row faulty where the column is used, and the rows around it are read."""
    table = table_of(b"Name,Customer notes\nA,x\nB," + b"y" * 10 * 1024**2 + b"\nC,z\n")
    columns = recognise(table.header, CUSTOMER_FIELDS)
    read = [read_customer_row(row, columns, Habits()) for row in table.rows()]
    assert [isinstance(row, CustomerRow) for row in read] == [True, False, True]
    assert read[1][0].column == "Customer notes"
    assert len(read[1][0].value) < 100


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "empty"),
        (b"\n \n", "holds no rows"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1rest", "old .xls"),
        (b"PK\x03\x04 not a zip", "not a workbook"),
        (b"N\x00a\x00m\x00e\x00\n\x00", "column names cannot be read"),
        (b'"Name\nA\n', "column names cannot be read"),
        (b"," * 600 + b"x\n", "more than 500 columns"),
        (b"x" * (50 * 1024**2 + 1), "larger than 50 MB"),
    ],
)
def test_files_that_are_none(data, sentence):
    """One sentence for the person, never a crash."""
    with pytest.raises(UnreadableFile, match=sentence):
        table_of(data)


def test_a_workbook_with_dates_numbers_and_gaps():
    """Dates are dates, numbers numbers, an empty row between is no row, and numbering goes on."""
    data = workbook(["Name", "Done", "Price"], ["A", dt.datetime(2026, 5, 4), 300.5], [], ["B", None, 45])
    rows = list(table_of(data).rows())
    assert [row.number for row in rows] == [2, 4]
    assert rows[0].cells == ("A", dt.datetime(2026, 5, 4), 300.5)


def test_a_formula_without_a_value_is_asked_about():
    """Nobody computed it, so nobody knows it; the cell says what to do."""
    cell = next(table_of(workbook(["Name", "Price"], ["A", "=1+1"])).rows()).cells[1]
    assert isinstance(cell, BadCell)
    assert cell.text == "=1+1"
    assert "result" in cell.what_to_do


def test_a_formula_with_its_value_is_the_value():
    """What the spreadsheet showed last is what is read."""
    data = workbook(["Name", "Price"], ["A", "=1+1"])
    source, out = zipfile.ZipFile(io.BytesIO(data)), io.BytesIO()
    with zipfile.ZipFile(out, "w") as target:
        for name in source.namelist():
            target.writestr(
                name,
                source.read(name)
                .replace(b"<f>1+1</f><v></v>", b"<f>1+1</f><v>2</v>")
                .replace(b"<f>1+1</f><v />", b"<f>1+1</f><v>2</v>"),
            )
    assert next(table_of(out.getvalue()).rows()).cells[1] == 2


def test_an_error_in_a_cell_is_asked_about():
    """#REF! is not text to store."""
    cell = next(table_of(workbook(["Name", "Price"], ["A", "#REF!"])).rows()).cells[1]
    assert isinstance(cell, BadCell)


def test_other_sheets_are_mentioned_and_hidden_ones_skipped():
    """The first visible sheet is read, and the person hears that there are others."""

    def change(book):
        book.active.sheet_state = "hidden"
        book.create_sheet("Customers").append(["Name"])
        book.create_sheet("Prices").append(["x"])

    table = table_of(workbook(["Hidden"], change=change))
    assert table.header == ("Name",)
    assert table.notes == ("only the first sheet, Customers, is read",)


def test_a_bomb_is_refused_before_it_is_unpacked(monkeypatch):
    """The sizes that the archive declares are checked first."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * 5_000_000)
    monkeypatch.setattr(xlsx_tables, "MAX_UNPACKED_BYTES", 1_000_000)
    with pytest.raises(UnreadableFile, match="unpacks to far more"):
        table_of(out.getvalue())


def test_a_sheet_that_claims_endless_rows_is_refused():
    """A row number of billions does not keep anybody waiting."""
    data = workbook(["Name"], ["A"])
    source, out = zipfile.ZipFile(io.BytesIO(data)), io.BytesIO()
    with zipfile.ZipFile(out, "w") as target:
        for name in source.namelist():
            target.writestr(
                name, source.read(name).replace(b'<row r="2"', b'<row r="99999999999"').replace(b'r="A2"', b"")
            )
    with pytest.raises(UnreadableFile, match="more than"):
        list(table_of(out.getvalue()).rows())


def test_entities_that_multiply_are_refused():
    """The XML parser's own guard stops them, and the person gets a sentence."""
    bomb = (
        b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
        + b"".join(b'<!ENTITY %c "%s">' % (98 + i, b"&%c;" % (97 + i) * 10) for i in range(9))
        + b"]><worksheet><sheetData><row><c><v>&j;</v></c></row></sheetData></worksheet>"
    )
    source, out = zipfile.ZipFile(io.BytesIO(workbook(["Name"], ["A"]))), io.BytesIO()
    with zipfile.ZipFile(out, "w") as target:
        for name in source.namelist():
            target.writestr(name, bomb if "sheet1" in name else source.read(name))
    with pytest.raises(UnreadableFile):
        list(table_of(out.getvalue()).rows())


def read_or_sentence(data: bytes) -> str | None:
    """Read everything, each row taken or refused; or the sentence with which the file is refused."""
    try:
        table = table_of(data)
        total, taken, refused = read_all(table)
    except UnreadableFile as refusal:
        return str(refusal)
    assert total == taken + refused
    return None


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 4000), st.binary(min_size=1, max_size=40))
def test_a_damaged_workbook_never_crashes(at, junk):
    """Overwrite a stretch of the archive: it is read, or refused with a sentence."""
    data = workbook(["Name", "Phone"], ["A", "6145550123"], ["B", 5])
    sentence = read_or_sentence(data[:at] + junk + data[at + len(junk) :])
    assert sentence is None or sentence.endswith(".")


HEADINGS = [
    "Name",
    "Phone",
    "Email",
    "Addr",
    "Zip",
    "Sq Ft",
    "Price",
    "Service",
    "Last Done",
    "Promised",
    "Lat",
    "Status",
    "x",
]
SOME_CELLS = st.one_of(
    st.text(max_size=30),
    st.sampled_from(
        ["5/4/2026", "13/4/2026", "2026-05-04", "$1,234.50", "1.234,50 €", "(45)", "=1+1", "+cmd|'x'", "a\x00b",
         "\ufeff", "(614) 555-0123", "12 Elm St", "House wash", "y" * 40_000, '"', "\r", "done", "-1", "'=x", "8-10"]
    ),
)  # fmt: skip
TABLES = st.lists(st.lists(SOME_CELLS, max_size=8), max_size=8)
WASH = KnownService("house-wash", "House wash", "", "wall_sqft")


def read_all(table) -> tuple[int, int, int]:
    """Rows in, rows read and rows refused, for both kinds of file."""
    total = taken = refused = 0
    for fields in (CUSTOMER_FIELDS, JOB_FIELDS):
        columns = recognise(table.header, fields)
        for row in table.rows():
            total += 1
            if fields is CUSTOMER_FIELDS:
                result = read_customer_row(row, columns, Habits())
            else:
                habits = Habits(today=dt.date(2026, 6, 1))
                result = read_job_row(row, columns, habits, {WASH.code: WASH}, service_words([WASH]))
            if isinstance(result, list):
                assert result
                assert all(isinstance(fault, Fault) and fault.advice_text() for fault in result)
                refused += 1
            else:
                assert isinstance(result, CustomerRow | JobRow)
                taken += 1
    return total, taken, refused


@settings(suppress_health_check=[HealthCheck.too_slow, HealthCheck.large_base_example], deadline=None)
@given(
    header=st.lists(st.sampled_from(HEADINGS), min_size=1, max_size=8, unique=True),
    rows=TABLES,
    separator=st.sampled_from([",", ";", "\t"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
)
def test_random_tables_lose_no_row(header, rows, separator, encoding):
    """What a writer writes as rows comes out as rows: each read or refused, in number and in content."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=separator)
    writer.writerow(header)
    writer.writerows(rows)
    table = table_of(out.getvalue().encode(encoding, "replace"))
    if len(header) == 1 and separator != ",":
        return  # no separator to be seen in the first row
    assert table.header == tuple(header)
    written = sum(any(cell.strip() for cell in row) for row in rows)
    total, taken, refused = read_all(table)
    assert total == 2 * written
    assert total == taken + refused


@settings(deadline=None)
@given(st.binary(max_size=400))
def test_random_bytes_never_crash(data):
    """Bytes of no format: read as rows or refused with a sentence."""
    sentence = read_or_sentence(data)
    assert sentence is None or sentence


@settings(deadline=None)
@given(st.lists(st.lists(st.text(st.characters(codec="utf-8"), max_size=12), min_size=2, max_size=2), max_size=6))
@example([["", "\t"]])  # blank, though an apostrophe guards the tab
def test_our_own_files_come_back(rows):
    """What we write is what we read, to the character."""
    out = io.StringIO(newline="")
    file = CsvOut(out, ["first", "second"])
    for row in rows:
        file.write(row)
    table = table_of(out.getvalue().encode("utf-8-sig"))
    assert texts(table) == [row for row in rows if any(cell.strip() for cell in row)]
