"""Days and hours at which a job may begin, as people write them."""

import datetime as dt
import re
from dataclasses import dataclass

from .cells import Cell, cell_fault, cell_text
from .dates import DateOrder, read_date
from .faults import N_, Fault, shown

DAY_START, DAY_END = 0, 1439
TIME = r"(\d{1,2})(?:[:.h](\d{2}))?(?::00)?\s*([ap])?\.?(?:m\.?)?"
DASH = r"\s*(?:-|–|—|to|a|until)\s*"
TWO_TIMES = re.compile(TIME + DASH + TIME)
HOURS_BEHIND = re.compile(r"(?P<days>.*\d)\s+(?P<hours>\d{1,2}:\d{2}\s*(?:-|–)\s*\d{1,2}:\d{2})")
DAYS_APART = re.compile(r"\s*(?:\.\.|–|—|\bto\b|\bthrough\b| - )\s*")
# Without am or pm an hour from 6 to 19 is read on the 24-hour clock; a smaller one is asked about.
FIRST_PLAIN_HOUR = 6


@dataclass(frozen=True, slots=True, order=True)
class Window:
    """Days (both included) and local minutes of those days in which work may begin."""

    first_date: dt.date
    last_date: dt.date
    start_minute: int = DAY_START
    end_minute: int = DAY_END
    promised: bool = False


Span = tuple[int, int]


def read_span(cell: Cell, column: str) -> Span | None | Fault:
    """From and until, such as "8-10" or "8:00 am - 10:00 am"; None for an empty cell."""
    fault = cell_fault(cell, column)
    if fault is not None:
        return fault
    text = cell_text(cell).strip().lower()
    if not text:
        return None
    parts = TWO_TIMES.fullmatch(text)
    if parts is None:
        return _not_a_time(text, column)
    half = parts[3] or (parts[6] if parts[6] == "a" or int(parts[1]) < int(parts[4]) % 12 else None)
    start = _minute(parts[1], parts[2], half if int(parts[1]) <= 12 else None, text, column)
    end = _minute(parts[4], parts[5], parts[6], text, column)
    if isinstance(start, Fault):
        return start
    if isinstance(end, Fault):
        return end
    return (start, end) if start <= end else _backwards(text, column)


def read_windows(
    cell: Cell, column: str, *, order: DateOrder | None, span: Span | None, promised: bool
) -> list[Window] | Fault:
    """Days, or stretches of days, between semicolons: `2026-05-04; 2026-05-06..2026-05-08 08:00-10:00`.

    Hours behind a stretch are its own, else `span` counts. A promise names single days.
    """
    fault = cell_fault(cell, column)
    if fault is not None:
        return fault
    pieces: list[Cell] = [cell]
    if isinstance(cell, str):
        pieces = [piece.strip() for piece in re.split(r"[;\n]", cell) if piece.strip()]
    windows = []
    for piece in pieces:
        window = _window(piece, column, order, span, promised)
        if isinstance(window, Fault):
            return window
        if window is not None:
            windows.append(window)
    return windows


def _window(
    piece: Cell, column: str, order: DateOrder | None, span: Span | None, promised: bool
) -> Window | None | Fault:
    days, own = _split_hours(piece, column)
    if isinstance(own, Fault):
        return own
    ends = DAYS_APART.split(days) if isinstance(days, str) else [days]
    if len(ends) > 2:
        return _not_days(piece, column)
    dates = [read_date(end, column, order=order) for end in ends]
    for date in dates:
        if isinstance(date, Fault):
            return date
    first, last = dates[0], dates[-1]
    if not isinstance(first, dt.date) or not isinstance(last, dt.date):
        return None
    if last < first or (promised and last != first):
        return _not_days(piece, column)
    start, end = own or span or (DAY_START, DAY_END)
    return Window(first, last, start, end, promised)


def _split_hours(piece: Cell, column: str) -> tuple[Cell, Span | None | Fault]:
    parts = HOURS_BEHIND.fullmatch(piece) if isinstance(piece, str) else None
    return (parts["days"], read_span(parts["hours"], column)) if parts else (piece, None)


def windows_as_written(windows: list[Window], *, promised: bool) -> str:
    """What `read_windows` reads back as the same windows."""
    return "; ".join(_written(window) for window in sorted(windows) if window.promised is promised)


def _written(window: Window) -> str:
    days = window.first_date.isoformat()
    if window.last_date != window.first_date:
        days += f"..{window.last_date.isoformat()}"
    hours = (window.start_minute, window.end_minute)
    return (
        days if hours == (DAY_START, DAY_END) else f"{days} {clock_as_written(hours[0])}-{clock_as_written(hours[1])}"
    )


def clock_as_written(minute: int) -> str:
    """Minutes after midnight on the 24-hour clock, such as 08:05."""
    return f"{minute // 60:02d}:{minute % 60:02d}"


def _minute(hour: str, minute: str | None, half: str | None, text: str, column: str) -> int | Fault:
    hours, minutes = int(hour), int(minute or 0)
    if half is not None and not 1 <= hours <= 12:
        return _not_a_time(text, column)
    if hours > 23 or minutes > 59:
        return _not_a_time(text, column)
    if half is None and hours < FIRST_PLAIN_HOUR and not (minute and hour.startswith("0")):
        return Fault(
            column,
            shown(text),
            N_("Is this in the morning or in the afternoon?"),
            N_("Write am or pm, or the 24-hour clock, such as 13:00."),
        )
    if half is not None:
        hours = hours % 12 + (12 if half == "p" else 0)
    return hours * 60 + minutes


def _not_a_time(value: object, column: str) -> Fault:
    return Fault(
        column, shown(value), N_("This is not a time of day."), N_("Write it as in 8:00-10:00 or 8 am - 10 am.")
    )


def _backwards(value: object, column: str) -> Fault:
    return Fault(
        column,
        shown(value),
        N_("The window ends before it begins."),
        N_("Write am or pm, or the 24-hour clock, such as 11:00-13:00."),
    )


def _not_days(value: object, column: str) -> Fault:
    return Fault(
        column,
        shown(value),
        N_("These are not days in order."),
        N_("Write a day, or first..last as in 2026-05-04..2026-05-08; a promise names one day."),
    )
