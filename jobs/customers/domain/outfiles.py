"""Tables that we write: opened by a spreadsheet they run nothing, read again they give back what went in.

A spreadsheet takes a cell that begins with = + - or @ (or a tab or a carriage return) for a formula. Such a text
gets an apostrophe before it; reading takes off one apostrophe before such a text. A plain negative number is no
formula and stays as it is.
"""

import csv
import re
from collections.abc import Iterable
from typing import TextIO

from .cells import Cell, cell_text

RISKY = re.compile(r"'*[=+\-@\t\r]")
GUARDED = re.compile(r"'+[=+\-@\t\r]")
PLAIN_NUMBER = re.compile(r"-\d+(\.\d+)?")
# A mark at the start tells spreadsheets that the file is UTF-8.
ENCODING = "utf-8-sig"


def guard(text: str) -> str:
    """`text` so that no spreadsheet runs it."""
    return f"'{text}" if RISKY.match(text) and not PLAIN_NUMBER.fullmatch(text) else text


def unguard(cell: Cell) -> Cell:
    """The cell without the apostrophe that `guard` put before it."""
    return cell[1:] if isinstance(cell, str) and GUARDED.match(cell) else cell


class CsvOut:
    """Write rows of text as CSV, guarded. The file must be opened with newline="" and ENCODING."""

    def __init__(self, file: TextIO, header: Iterable[str]) -> None:
        self.writer = csv.writer(file)
        self.writer.writerow([guard(name) for name in header])

    def write(self, cells: Iterable[Cell]) -> None:
        """Add one row."""
        self.writer.writerow([guard(cell_text(cell)) for cell in cells])
