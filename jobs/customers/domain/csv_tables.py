"""Read text files in the encodings and with the separators that spreadsheets write."""

import codecs
import csv
import io
from collections.abc import Callable, Iterator
from typing import BinaryIO

from .faults import N_, Fault
from .tables import MAX_FILE_BYTES, RawRows

# The csv module refuses a long field by breaking off in the middle of a row, which would lose what follows. The
# size of the whole file is bounded instead, and an overlong cell is refused by itself (cells.cell_fault).
csv.field_size_limit(MAX_FILE_BYTES + 1)

# UTF-32 first: its mark begins with that of UTF-16.
BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
SEPARATORS = (",", ";", "\t")
DECLARABLE = frozenset(",;|")
SAMPLE_CHARS = 64 * 1024
SAMPLE_ROWS = 20
CHUNK_BYTES = 256 * 1024


def csv_source(file: BinaryIO) -> tuple[Callable[[], RawRows], tuple[str, ...]]:
    """A function that reads the rows, and notes for the person."""
    encoding = detect_encoding(file)
    separator, declared = detect_separator(_sample(file, encoding))
    notes = ("read as cp1252 (Western Windows)",) if encoding == "cp1252" else ()
    return lambda: _rows(file, encoding, separator, declared), notes


def detect_encoding(file: BinaryIO) -> str:
    """By its mark; else UTF-8 if the whole file is; else cp1252.

    A file that is UTF-8 apart from some broken bytes stays UTF-8: the broken cells are refused, where reading all
    of it as cp1252 would have spoiled every other accented name.
    """
    file.seek(0)
    start = file.read(4)
    for mark, encoding in BYTE_ORDER_MARKS:
        if start.startswith(mark):
            return encoding
    file.seek(0)
    decoder = codecs.getincrementaldecoder("utf-8")("replace")
    broken = whole = 0
    while chunk := file.read(CHUNK_BYTES):
        text = decoder.decode(chunk)
        broken += text.count("�")
        whole += len(text) - len(text.encode("ascii", "ignore")) - text.count("�")
    broken += decoder.decode(b"", final=True).count("�")
    return "cp1252" if broken and not whole else "utf-8"


def detect_separator(sample: str) -> tuple[str, bool]:
    """The separator, and whether the first line declares it (`sep=;`, as some spreadsheets write).

    Else the one that makes the most columns of the first row; among equals the one with which most of the next
    rows have as many; among those the comma.
    """
    first = sample.lstrip().splitlines()[0].strip() if sample.strip() else ""
    if first.lower().startswith("sep=") and first[4:] in DECLARABLE:
        return first[4], True
    if sample.lower().startswith("sep=\t"):
        return "\t", True
    made = {separator: _columns_made(sample, separator) for separator in SEPARATORS}
    best = max(SEPARATORS, key=lambda separator: made[separator])
    return best if made[best][0] > 1 else SEPARATORS[0], False


def _columns_made(sample: str, separator: str) -> tuple[int, int]:
    widths = []
    for cells in csv.reader(io.StringIO(sample, newline=""), delimiter=separator):
        if any(cell.strip() for cell in cells):
            widths.append(len(cells))
        if len(widths) > SAMPLE_ROWS:
            break
    return (widths[0], widths.count(widths[0])) if widths else (0, 0)


def _sample(file: BinaryIO, encoding: str) -> str:
    text = _text(file, encoding)
    try:
        return text.read(SAMPLE_CHARS)
    finally:
        text.detach()


def _text(file: BinaryIO, encoding: str) -> io.TextIOWrapper:
    file.seek(0)
    return io.TextIOWrapper(file, encoding, errors="replace", newline="")


class _Lines:
    """The lines of a file, remembering whether it ended: a row that needs the end was never closed."""

    def __init__(self, text: io.TextIOWrapper) -> None:
        self.text, self.ended = text, False

    def __iter__(self) -> Iterator[str]:
        # Not "yield from", which would close the file together with this generator.
        for line in self.text:  # noqa: UP028
            yield line
        self.ended = True


def _rows(file: BinaryIO, encoding: str, separator: str, declared: bool) -> RawRows:
    text = _text(file, encoding)
    try:
        lines = _Lines(text)
        for number, cells in enumerate(csv.reader(lines, delimiter=separator), start=1):
            if not (declared and number == 1):
                yield number, cells, (_never_closed(cells),) if lines.ended else ()
    finally:
        text.detach()


def _never_closed(cells: list[str]) -> Fault:
    return Fault(
        "",
        "",
        N_("A quotation mark opens in this row and is never closed; %(lines)d lines after it were read as its text."),
        N_("Close or remove the quotation mark. What follows it is kept in this row: make rows of it again."),
        {"lines": cells[-1].count("\n")},
    )
