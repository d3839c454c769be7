"""Open a customer's own file, whatever wrote it, as a stream of numbered rows.

    table = open_table(file)        # a binary file that can seek
    table.header                    # the names of the columns, as written
    for row in table.rows(): ...    # again and again; each call reads the file from its start

Rows are read one by one, so memory does not grow with the file. Nothing is dropped: each row that is not blank
comes out, and what cannot be read comes out as a row with `faults` or with a `BadCell`.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import BinaryIO

from .cells import Cell, cell_fault, cell_text, is_blank
from .faults import N_, Fault, UnreadableFile
from .outfiles import unguard

MAX_FILE_BYTES = 50 * 1024 * 1024
MAX_COLUMNS = 500
ZIP_MAGIC = b"PK\x03\x04"
OLE_MAGIC = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


@dataclass(frozen=True, slots=True)
class Row:
    """One row below the header. `number` is the one a spreadsheet shows (the header of a plain file is row 1).

    There are at least as many cells as columns; surplus ones follow and make the row faulty.
    """

    number: int
    cells: tuple[Cell, ...]
    faults: tuple[Fault, ...] = ()


RawRows = Iterable[tuple[int, Sequence[Cell], tuple[Fault, ...]]]


@dataclass(frozen=True, slots=True)
class Table:
    """A file that was opened: its kind, its columns, notes for the person, and its rows."""

    kind: str
    header: tuple[str, ...]
    header_number: int
    notes: tuple[str, ...]
    _read: Callable[[], RawRows]

    def rows(self) -> Iterator[Row]:
        """All rows below the header that are not blank, in order, from the start of the file.

        Raises UnreadableFile where the file breaks off in a way that leaves no row to speak of.
        """
        for number, written, faults in self._read():
            cells = tuple(map(unguard, written))
            if number > self.header_number and (faults or not all(is_blank(cell) for cell in cells)):
                yield self._shaped(number, cells, faults)

    def _shaped(self, number: int, cells: tuple[Cell, ...], faults: tuple[Fault, ...]) -> Row:
        width = len(self.header)
        while len(cells) > width and is_blank(cells[-1]):
            cells = cells[:-1]
        if len(cells) > width and not faults:
            faults = (_too_many_cells(len(cells), width),)
        return Row(number, cells + (None,) * (width - len(cells)), faults)


def open_table(file: BinaryIO) -> Table:
    """Recognise the kind of file by its content and read its header.

    `file` must be able to seek and stay open while rows are read. Raises UnreadableFile with one clear sentence.
    """
    size = file.seek(0, 2)
    file.seek(0)
    start = file.read(8)
    if size == 0:
        raise UnreadableFile("The file is empty.")
    if size > MAX_FILE_BYTES:
        raise UnreadableFile(f"The file is larger than {MAX_FILE_BYTES // 1024**2} MB: split it and import the parts.")
    if start.startswith(OLE_MAGIC):
        raise UnreadableFile("This is an old .xls file or one with a password: save it as .xlsx or as CSV.")
    if start.startswith(ZIP_MAGIC):
        from .xlsx_tables import xlsx_source

        kind, (read, notes) = "xlsx", xlsx_source(file)
    else:
        from .csv_tables import csv_source

        kind, (read, notes) = "csv", csv_source(file)
    return _with_header(kind, read, notes)


def _with_header(kind: str, read: Callable[[], RawRows], notes: tuple[str, ...]) -> Table:
    for number, cells, faults in read():
        if faults:
            raise UnreadableFile(f"The row with the column names cannot be read. {faults[0].problem_text()}")
        if not all(is_blank(cell) for cell in cells):
            return Table(kind, _names(cells), number, notes, read)
    raise UnreadableFile("The file holds no rows: its first row must hold the names of the columns.")


def _names(cells: Sequence[Cell]) -> tuple[str, ...]:
    names = [" ".join(cell_text(unguard(cell)).split()) for cell in cells]
    while names and not names[-1]:
        names.pop()
    if len(names) > MAX_COLUMNS:
        raise UnreadableFile(f"The first row holds more than {MAX_COLUMNS} columns.")
    for cell in cells:
        fault = cell_fault(cell, "")
        if fault is not None:
            raise UnreadableFile(
                f"The row with the column names cannot be read. {fault.problem_text()} {fault.advice_text()}"
            )
    return tuple(names)


def _too_many_cells(found: int, expected: int) -> Fault:
    return Fault(
        "",
        "",
        N_("The row holds %(found)d cells, but there are %(expected)d columns."),
        N_("If a value holds the separator, put the value in quotation marks; else remove the surplus cells."),
        {"found": found, "expected": expected},
    )
