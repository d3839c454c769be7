"""One row of a table, cell by cell, with everything that is wrong with it."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from . import dates, hours, numbers, values
from .cells import Cell
from .columns import Columns
from .dates import DateOrder
from .faults import N_, Fault
from .numbers import COMMA_DECIMALS
from .tables import Row

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Habits:
    """What the firm's place decides about reading: telephone region, currency, and what a column's dates mean.

    `date_orders` goes from a field's name to the order of its column.
    """

    country: str = "US"
    currency: str = "USD"
    today: dt.date | None = None
    date_orders: Mapping[str, DateOrder] = field(default_factory=dict)

    @property
    def decimal_comma(self) -> bool:
        return self.currency in COMMA_DECIMALS


class RowReader:
    """Read the fields of one row; faults gather in `faults` and the readers answer "nothing given" for them."""

    def __init__(self, row: Row, columns: Columns, habits: Habits) -> None:
        self.row, self.columns, self.habits = row, columns, habits
        self.faults: list[Fault] = list(row.faults)

    def refuse(self, name: str, problem: str, what_to_do: str, **params: object) -> None:
        """Note what is wrong with a field (or with the row as a whole: "")."""
        self.faults.append(Fault(self.columns.heading(name) if name else "", "", problem, what_to_do, params))

    def require(self, name: str, given: object, what_to_do: str) -> None:
        """Refuse the row if a field is empty and nothing is wrong with it already."""
        heading = self.columns.heading(name)
        if not given and heading not in {fault.column for fault in self.faults}:
            self.refuse(name, N_("It is empty."), what_to_do)

    def text(self, name: str, limit: int, *, lines: bool = False) -> str:
        return self._kept(values.read_text(*self._at(name), limit=limit, lines=lines), "")

    def choice(self, name: str, choices: Mapping[str, str]) -> str:
        return self._kept(values.read_choice(*self._at(name), choices), "")

    def yes_no(self, name: str) -> bool | None:
        return self._kept(values.read_yes_no(*self._at(name)), None)

    def email(self, name: str) -> str:
        return self._kept(values.read_email(*self._at(name)), "")

    def phone(self, name: str) -> str:
        return self._kept(values.read_phone(*self._at(name), region=self.habits.country), "")

    def postal_code(self, name: str, region: str) -> str:
        return self._kept(values.read_postal_code(*self._at(name), country=self.habits.country, region=region), "")

    def coordinate(self, name: str, limit: int) -> float | None:
        return self._kept(values.read_coordinate(*self._at(name), limit=limit), None)

    def price(self, name: str) -> int | None:
        return self._kept(numbers.read_price(*self._at(name), currency=self.habits.currency), None)

    def area(self, name: str) -> int | None:
        unit = self.columns.units.get(name, "")
        return self._kept(numbers.read_area(*self._at(name), unit=unit, decimal_comma=self.habits.decimal_comma), None)

    def count(self, name: str, *, least: int = 0, most: int = numbers.MAX_COUNT) -> int | None:
        comma = self.habits.decimal_comma
        return self._kept(numbers.read_count(*self._at(name), least=least, most=most, decimal_comma=comma), None)

    def minutes(self, name: str) -> int | None:
        return self._kept(numbers.read_minutes(*self._at(name), unit=self.columns.units.get(name, "")), None)

    def date(self, name: str) -> dt.date | None:
        return self._kept(dates.read_date(*self._at(name), order=self.habits.date_orders.get(name)), None)

    def span(self, name: str) -> hours.Span | None:
        return self._kept(hours.read_span(*self._at(name)), None)

    def windows(self, name: str, *, span: hours.Span | None, promised: bool) -> list[hours.Window]:
        order = self.habits.date_orders.get(name)
        return self._kept(hours.read_windows(*self._at(name), order=order, span=span, promised=promised), [])

    def name(self) -> str:
        """The customer's name, put together from first and last name where there is no whole one."""
        whole = self.text("customer_name", 120)
        if whole:
            return whole
        parts = [self.text("first_name", 60), self.text("last_name", 59)]
        return " ".join(part for part in parts if part)

    def _at(self, name: str) -> tuple[Cell, str]:
        return self.columns.cell(self.row.cells, name), self.columns.heading(name)

    def _kept(self, result: T | Fault, nothing: T) -> T:
        if isinstance(result, Fault):
            self.faults.append(result)
            return nothing
        return result
