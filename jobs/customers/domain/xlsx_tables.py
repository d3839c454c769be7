"""Read XLSX row by row: real dates, no formulas without a value, no bombs."""

import warnings
import zipfile
from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from typing import Any, BinaryIO

import openpyxl

from .cells import BadCell, Cell
from .faults import N_, UnreadableFile
from .tables import RawRows

MAX_UNPACKED_BYTES = 400 * 1024 * 1024
MAX_STRINGS_BYTES = 100 * 1024 * 1024  # the table of shared texts is the one part that is held in memory
MAX_ROWS = 200_000
SHEET_ROWS = 1_048_576  # most rows of a sheet (Microsoft, "Excel specifications and limits")
ROWS_AT_ONCE = 200
DAMAGED = "The file is not a workbook that can be read: open it, save it as .xlsx again, or save it as CSV."


def xlsx_source(file: BinaryIO) -> tuple[Callable[[], RawRows], tuple[str, ...]]:
    """A function that reads the rows of the first visible sheet, and notes for the person."""
    _check_size(file)
    book = _open(file, values=True)
    try:
        names = [sheet.title for sheet in book.worksheets if sheet.sheet_state == "visible"]
    finally:
        book.close()
    if not names:
        raise UnreadableFile("The workbook holds no visible sheet with rows.")
    notes = (f"only the first sheet, {names[0]}, is read",) if len(names) > 1 else ()
    return lambda: _rows(file, names[0]), notes


def _check_size(file: BinaryIO) -> None:
    """The sizes that the archive declares bound what is unpacked: zipfile reads no further than them."""
    try:
        parts = zipfile.ZipFile(file).infolist()
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError) as error:
        raise UnreadableFile(DAMAGED) from error
    strings = sum(part.file_size for part in parts if "sharedstrings" in part.filename.lower())
    if sum(part.file_size for part in parts) > MAX_UNPACKED_BYTES or strings > MAX_STRINGS_BYTES:
        raise UnreadableFile("The workbook unpacks to far more than its size: split it, or save it as CSV.")


def _open(file: BinaryIO, *, values: bool) -> openpyxl.Workbook:
    with _readable():
        file.seek(0)
        return openpyxl.load_workbook(file, read_only=True, data_only=values, keep_links=False)


class _readable:  # noqa: N801 - used as a statement
    """Whatever a damaged workbook raises in the library becomes UnreadableFile; its warnings are not ours."""

    def __enter__(self) -> None:
        self.caught = warnings.catch_warnings()
        self.caught.__enter__()
        warnings.simplefilter("ignore")

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: Any) -> None:
        self.caught.__exit__(kind, error, trace)
        if isinstance(error, Exception) and not isinstance(error, UnreadableFile):
            raise UnreadableFile(DAMAGED) from error


def _rows(file: BinaryIO, name: str) -> RawRows:
    """Read the sheet twice side by side, with values and with formulas, to see which formulas have no value."""
    values, formulas = _open(file, values=True), _open(file, values=False)
    try:
        pairs = zip(_sheet_rows(values, name), _sheet_rows(formulas, name), strict=True)
        yield from ((number, _cells(*pair), ()) for number, pair in enumerate(_guarded(pairs), start=1))
    finally:
        values.close()
        formulas.close()


def _sheet_rows(book: openpyxl.Workbook, name: str) -> Iterator[Sequence[Any]]:
    sheet: Any = book[name]
    sheet.reset_dimensions()  # the declared size may be wrong, or the whole sheet
    return iter(sheet.iter_rows())


def _guarded(
    pairs: Iterator[tuple[Sequence[Any], Sequence[Any]]],
) -> Iterator[tuple[Sequence[Any], Sequence[Any]]]:
    read = 0
    while True:
        with _readable():
            some = list(islice(pairs, ROWS_AT_ONCE))
        read += len(some)
        filled = read > MAX_ROWS and any(cell.value is not None for row, _ in some for cell in row)
        if filled or read > SHEET_ROWS:
            raise UnreadableFile(f"The sheet holds more than {MAX_ROWS} rows: split it and import the parts.")
        if not some:
            return
        yield from some


def _cells(values: Sequence[Any], formulas: Sequence[Any]) -> list[Cell]:
    return [_cell(value, formula) for value, formula in zip(values, formulas, strict=False)]


def _cell(value: Any, formula: Any) -> Cell:
    if formula.data_type == "f" and value.value is None:
        return BadCell(
            str(getattr(formula.value, "text", formula.value)),
            N_("The cell holds a formula whose result was not saved."),
            N_("What is its result? Open and save the file in a spreadsheet, or type the value."),
        )
    if value.data_type == "e":
        return BadCell(
            str(value.value),
            N_("The cell shows an error instead of a value."),
            N_("What should stand here? Type the value, or leave the cell empty."),
        )
    return value.value if isinstance(value.value, Cell) else str(value.value)
