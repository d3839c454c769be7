"""A cell of a table, whatever kind of file it came from."""

import datetime as dt
from dataclasses import dataclass

from .faults import N_, Fault, shown

# Most characters a spreadsheet cell can hold (Microsoft, "Excel specifications and limits").
MAX_CELL_CHARS = 32_767
REPLACEMENT = "�"


@dataclass(frozen=True, slots=True)
class BadCell:
    """A cell that could not be read, with the reason; it only matters where its column is used."""

    text: str
    problem: str
    what_to_do: str


Cell = str | int | float | bool | dt.datetime | dt.date | dt.time | dt.timedelta | BadCell | None


def cell_text(cell: Cell) -> str:
    """The cell as the text that a person would have typed; "" for an empty one."""
    if cell is None:
        return ""
    if isinstance(cell, BadCell):
        return cell.text
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 10**15:
        return str(int(cell))
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat() if cell.time() == dt.time() else cell.isoformat(" ", "minutes")
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    return str(cell)


def is_blank(cell: Cell) -> bool:
    """Nothing but white space."""
    return not isinstance(cell, BadCell) and not cell_text(cell).strip()


def cell_fault(cell: Cell, column: str) -> Fault | None:
    """Why this cell must not be used at all, whatever is expected in it."""
    if isinstance(cell, BadCell):
        return Fault(column, shown(cell.text), cell.problem, cell.what_to_do)
    if not isinstance(cell, str):
        return None
    if len(cell) > MAX_CELL_CHARS:
        return _too_long(cell, column)
    if "\x00" in cell:
        return Fault(
            column,
            shown(cell),
            N_("The cell holds a NUL character."),
            N_("Type the value again, or save the file as CSV UTF-8 and import it again."),
        )
    if REPLACEMENT in cell:
        return Fault(
            column,
            shown(cell),
            N_("The cell holds characters that cannot be read."),
            N_("Type the value again, or save the file as CSV UTF-8 and import it again."),
        )
    return None


def _too_long(cell: str, column: str) -> Fault:
    return Fault(
        column,
        shown(cell),
        N_("The cell holds %(length)d characters, more than the %(limit)d that fit."),
        N_("Shorten it. If it swallowed other rows, a quotation mark was not closed: close it."),
        {"length": len(cell), "limit": MAX_CELL_CHARS},
    )
