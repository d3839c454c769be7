"""Dates as people write them. A day that could be a month is a question, never a guess."""

import datetime as dt
import re
from collections.abc import Iterable
from enum import Enum

from openpyxl.utils.datetime import from_excel

from .cells import Cell, cell_fault, cell_text
from .columns import plain
from .faults import N_, Fault, shown

FIRST_YEAR, LAST_YEAR = 1950, 2100
SERIAL_RANGE = (18264, 73415)  # 1950-01-01 to 2100-12-31 as spreadsheet day numbers
# Two-digit years as POSIX reads them (strptime, %y): 69-99 are 1969-1999, 00-68 are 2000-2068.
PIVOT = 69
ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})")
COMPACT = re.compile(r"((?:19|20)\d{2})(\d{2})(\d{2})")
NUMERIC = re.compile(r"(\d{1,2})\s*([/.-])\s*(\d{1,2})\s*[/.-]\s*(\d{4}|\d{2})")
DAY_FIRST = re.compile(r"(\d{1,2})(?:st|nd|rd|th)? (?:de )?([a-z]+) (?:de )?(\d{4}|\d{2})")
MONTH_FIRST = re.compile(r"([a-z]+) (\d{1,2})(?:st|nd|rd|th)? (\d{4}|\d{2})")
TIME_BEHIND = re.compile(
    r"[T ,]+\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?\s*([ap]\.?m\.?)?\s*(Z|[+-]\d{2}:?\d{2})?$", re.IGNORECASE
)
WEEKDAY_BEFORE = re.compile(r"^(?:mon|tue|wed|thu|fri|sat|sun|lun|mar|mie|jue|vie|sab|dom)[a-z]*\s+(?=\S)")
MONTHS = {
    **{name[:length]: i for i, names in enumerate(
        (
            ("january", "enero"), ("february", "febrero"), ("march", "marzo"), ("april", "abril"),
            ("may", "mayo"), ("june", "junio"), ("july", "julio"), ("august", "agosto"),
            ("september", "septiembre"), ("october", "octubre"), ("november", "noviembre"),
            ("december", "diciembre"),
        ), start=1) for name in names for length in (3, 4, len(name))},
}  # fmt: skip


class DateOrder(Enum):
    """Which of the first two numbers of 5/4/2026 is the month."""

    MONTH_FIRST = "mdy"
    DAY_FIRST = "dmy"
    CONTRADICTORY = "both"  # the column itself holds 13/1 and 1/13


def infer_order(cells: Iterable[Cell]) -> DateOrder | None:
    """What a whole column gives away: a 13 or more in one of the two places. None when nothing does."""
    seen = {order for cell in cells if (order := order_shown_by(cell))}
    return next(iter(seen)) if len(seen) == 1 else DateOrder.CONTRADICTORY if seen else None


def order_shown_by(cell: Cell) -> DateOrder | None:
    """The order that this one cell proves, if it does."""
    parts = NUMERIC.fullmatch(_without_time(cell)) if isinstance(cell, str) else None
    if not parts:
        return None
    first, second = int(parts[1]), int(parts[3])
    if 12 < first <= 31 and 1 <= second <= 12:
        return DateOrder.DAY_FIRST
    if 12 < second <= 31 and 1 <= first <= 12:
        return DateOrder.MONTH_FIRST
    return None


def read_date(cell: Cell, column: str, *, order: DateOrder | None = None) -> dt.date | None | Fault:
    """The date in a cell, None for an empty one.

    `order` is what the person declared or the column gave away. Numbers are day numbers only where the cell really
    is a number, which happens in spreadsheets and never in text files.
    """
    fault = cell_fault(cell, column)
    if fault is not None:
        return fault
    if isinstance(cell, dt.datetime):
        return _in_range(cell.date(), cell, column)
    if isinstance(cell, dt.date):
        return _in_range(cell, cell, column)
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return _from_serial(cell, column)
    text = cell_text(cell).strip()
    return None if not text else _from_text(text, column, order)


def _without_time(cell: Cell) -> str:
    return TIME_BEHIND.sub("", cell_text(cell).strip()).strip()


def _from_serial(cell: float, column: str) -> dt.date | Fault:
    if not SERIAL_RANGE[0] <= cell <= SERIAL_RANGE[1]:
        return _not_a_date(cell, column)
    moment = from_excel(int(cell))
    return moment.date() if isinstance(moment, dt.datetime) else _not_a_date(cell, column)


def _from_text(text: str, column: str, order: DateOrder | None) -> dt.date | Fault:
    bare = _without_time(text)
    if parts := ISO.fullmatch(bare) or COMPACT.fullmatch(bare):
        return _made(int(parts[1]), int(parts[2]), int(parts[3]), text, column)
    if parts := NUMERIC.fullmatch(bare):
        return _numeric(parts, text, column, order)
    words = WEEKDAY_BEFORE.sub("", plain(bare))
    if parts := DAY_FIRST.fullmatch(words):
        return _named(parts[2], parts[1], parts[3], text, column)
    if parts := MONTH_FIRST.fullmatch(words):
        return _named(parts[1], parts[2], parts[3], text, column)
    return _not_a_date(text, column)


def _numeric(parts: re.Match[str], text: str, column: str, order: DateOrder | None) -> dt.date | Fault:
    first, second, year = int(parts[1]), int(parts[3]), parts[4]
    if len(year) == 2 and parts[2] != "/":
        return _which_is_the_year(text, column)
    proven = order_shown_by(text) or (DateOrder.MONTH_FIRST if first == second else None)
    declared = None if order is DateOrder.CONTRADICTORY else order
    if proven and declared and proven is not declared and first != second:
        return _against_order(text, column, declared)
    settled = proven or declared
    if settled is None and max(first, second) <= 12:
        return _which_is_the_month(text, column, first, second)
    month, day = (second, first) if settled is DateOrder.DAY_FIRST else (first, second)
    return _made(_full_year(year), month, day, text, column)


def _named(month: str, day: str, year: str, text: str, column: str) -> dt.date | Fault:
    number = MONTHS.get(month)
    return _made(_full_year(year), number, int(day), text, column) if number else _not_a_date(text, column)


def _full_year(year: str) -> int:
    return int(year) + (0 if len(year) == 4 else 1900 if int(year) >= PIVOT else 2000)


def _made(year: int, month: int, day: int, value: object, column: str) -> dt.date | Fault:
    try:
        return _in_range(dt.date(year, month, day), value, column)
    except ValueError:
        return Fault(
            column,
            shown(value),
            N_("There is no such day in the calendar."),
            N_("Correct the date; write it as year-month-day, such as 2026-05-04."),
        )


def _in_range(date: dt.date, value: object, column: str) -> dt.date | Fault:
    if FIRST_YEAR <= date.year <= LAST_YEAR:
        return date
    return Fault(
        column,
        shown(value),
        N_("The year %(year)d is not between %(first)d and %(last)d."),
        N_("Correct the year."),
        {"year": date.year, "first": FIRST_YEAR, "last": LAST_YEAR},
    )


def _not_a_date(value: object, column: str) -> Fault:
    return Fault(
        column,
        shown(value),
        N_("This is not a date."),
        N_("Write the date as year-month-day, such as 2026-05-04, or leave it empty."),
    )


def _which_is_the_year(value: str, column: str) -> Fault:
    return Fault(
        column,
        shown(value),
        N_("Which part is the year?"),
        N_("Write the year with four digits, such as 2026-05-04."),
    )


def _which_is_the_month(value: str, column: str, first: int, second: int) -> Fault:
    return Fault(
        column,
        shown(value),
        N_("Is %(first)d the month or the day? No row of this column decides it."),
        N_("Say the order for the whole file (month first or day first), or write the date as year-month-day."),
        {"first": first, "second": second},
    )


def _against_order(value: str, column: str, order: DateOrder) -> Fault:
    return Fault(
        column,
        shown(value),
        N_("This date does not fit the order %(order)s of the column."),
        N_("Is it right? Write it as year-month-day, such as 2026-05-04."),
        {"order": order.value},
    )
