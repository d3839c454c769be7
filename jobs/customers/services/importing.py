"""The frame of an import: survey the file, read it in batches, count every row, write down what was refused.

An importer (see `Importer`) knows what rows mean; this module knows that rows in = rows taken + rows refused.
"""

import contextlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Any, BinaryIO, Protocol, TypeVar

from django.db import DataError, IntegrityError, transaction
from django.utils.translation import gettext

from jobs.customers.domain.columns import BOOKKEEPING, PROBLEM, ROW, WHAT_TO_DO, Columns, Field, plain, recognise
from jobs.customers.domain.dates import DateOrder, order_shown_by
from jobs.customers.domain.faults import N_, Fault, UnreadableFile, shown
from jobs.customers.domain.outfiles import ENCODING, CsvOut
from jobs.customers.domain.tables import Row, Table, open_table

BATCH_ROWS = 200
MOST_OF_A_BATCH = 400  # a batch grows by the rows of one job that follow each other, up to this
SHOWN_REFUSALS = 200
Progress = Callable[[int, int], None]
Parsed = TypeVar("Parsed")


class Outcome(StrEnum):
    """What became of a row that was taken."""

    CREATED = "created"
    CHANGED = "changed"
    UNCHANGED = "unchanged"


Answer = Outcome | list[Fault]


class Refusal(Exception):
    """A row that was understood, but does not fit what is stored."""

    def __init__(self, column: str, value: object, problem: str, what_to_do: str, **params: Any) -> None:
        super().__init__(problem)
        self.fault = Fault(column, shown(value), problem, what_to_do, params)


class Importer(Protocol[Parsed]):
    """What rows of one kind of file mean."""

    kind: str
    fields: Sequence[Field]
    elsewhere: Sequence[Field]
    date_fields: Sequence[str]

    def begin(self, columns: Columns, date_orders: Mapping[str, DateOrder]) -> None:
        """Get ready; called again when stored rows must be looked up anew."""

    def read(self, row: Row) -> Parsed | list[Fault]:
        """Understand a row, or say what is wrong with it."""

    def belongs_to(self, row: Parsed, before: Parsed) -> bool:
        """Whether a row must be stored together with the one before it."""

    def apply(self, rows: Sequence[Parsed]) -> list[Answer]:
        """Store the rows, inside the caller's transaction, and answer for each."""

    def notes(self) -> tuple[str, ...]:
        """What else the person should know about the rows that were taken."""


@dataclass(frozen=True, slots=True)
class RefusedRow:
    """A row that was not taken, with everything that is wrong with it."""

    number: int
    faults: tuple[Fault, ...]

    def as_json(self) -> dict[str, Any]:
        return {
            "row": self.number,
            "faults": [
                {
                    "column": fault.column,
                    "value": fault.value,
                    "problem": fault.problem_text(gettext),
                    "what_to_do": fault.advice_text(gettext),
                }
                for fault in self.faults
            ],
        }


@dataclass(slots=True)
class ImportReport:
    """What an import did, or would do. `rows` are those that are not blank, below the header.

    `refusals` holds the first rows that were refused; all of them are in the file `corrections` if one was asked
    for. `date_orders` says how each date column was understood.
    """

    kind: str
    dry_run: bool
    columns: Columns
    notes: tuple[str, ...] = ()
    date_orders: dict[str, str] = field(default_factory=dict)
    rows: int = 0
    created: int = 0
    changed: int = 0
    unchanged: int = 0
    refused: int = 0
    refusals: list[RefusedRow] = field(default_factory=list)
    corrections: Path | None = None

    @property
    def imported(self) -> int:
        return self.created + self.changed + self.unchanged

    def as_json(self) -> dict[str, Any]:
        """The report as JSON values; row by row for the first refusals."""
        counts = ("kind", "dry_run", "rows", "created", "changed", "unchanged", "refused", "date_orders")
        return {
            **{name: getattr(self, name) for name in counts},
            "imported": self.imported,
            "notes": list(self.notes),
            "columns": {self.columns.header[at]: name for name, at in self.columns.positions.items()},
            "unknown_columns": list(self.columns.unknown),
            "columns_for_the_other_import": list(self.columns.elsewhere),
            "refusals": [refusal.as_json() for refusal in self.refusals],
            "corrections": str(self.corrections) if self.corrections else None,
        }


@dataclass(frozen=True, slots=True)
class Survey:
    """What a first look at the whole file tells: how many rows, how wide, and what its dates mean."""

    rows: int
    width: int
    date_orders: Mapping[str, DateOrder]


class Unsettled(UnreadableFile):
    """Several columns could be the same field; the person must choose."""


def run_import(
    file: BinaryIO,
    importer: Importer[Any],
    *,
    mapping: Mapping[str, str] | None,
    date_order: DateOrder | None,
    dry_run: bool,
    corrections: Path | None = None,
    progress: Progress | None = None,
) -> ImportReport:
    """Import a file, each batch in a transaction of its own; a dry run does the same and takes it all back.

    If something breaks in between, what earlier batches stored stays, and running it again completes the rest.
    Raises UnreadableFile, before anything is stored, when the file or the mapping cannot be used.
    """
    table = open_table(file)
    columns = columns_of(table, importer, mapping)
    survey = survey_table(table, columns, importer.date_fields, date_order)
    report = ImportReport(importer.kind, dry_run, columns, table.notes, _as_words(survey.date_orders))
    with contextlib.ExitStack() as stack:
        refuse = stack.enter_context(_refusals(report, table, survey.width, corrections))
        if dry_run:
            stack.enter_context(_taken_back())
        importer.begin(columns, survey.date_orders)
        for batch in _batches(table, importer, report, refuse):
            _store(batch, importer, report, refuse, columns, survey)
            if progress is not None:
                progress(report.rows, survey.rows)
        report.notes += importer.notes()
    return report


def columns_of(table: Table, importer: Importer[Any], mapping: Mapping[str, str] | None) -> Columns:
    """How the header is understood. Raises UnreadableFile where it cannot be, Unsettled where it is doubtful."""
    columns = recognise(table.header, importer.fields, mapping, elsewhere=importer.elsewhere)
    if columns.doubtful:
        name, headings = next(iter(columns.doubtful.items()))
        raise Unsettled(
            f"Several columns could be “{name}”: {', '.join(headings)}. "
            "Map each of them to a field, or to - to ignore it."
        )
    if not columns.positions:
        raise UnreadableFile(
            "No column was recognised: the first row must hold the names of the columns, or columns must be mapped."
        )
    return columns


def survey_table(table: Table, columns: Columns, date_fields: Sequence[str], declared: DateOrder | None) -> Survey:
    """Read the file once without keeping it. Raises UnreadableFile where it breaks off."""
    rows, width = 0, len(table.header)
    shown: dict[str, set[DateOrder]] = {name: set() for name in date_fields if columns.has(name)}
    for row in table.rows():
        rows, width = rows + 1, max(width, len(row.cells))
        for name, orders in shown.items():
            if (order := order_shown_by(columns.cell(row.cells, name))) is not None:
                orders.add(order)
    return Survey(rows, width, {name: order for name, o in shown.items() if (order := declared or _one_of(o))})


def _one_of(orders: set[DateOrder]) -> DateOrder | None:
    if len(orders) > 1:
        return DateOrder.CONTRADICTORY
    return next(iter(orders), None)


def _as_words(orders: Mapping[str, DateOrder]) -> dict[str, str]:
    return {name: order.value for name, order in orders.items()}


@contextlib.contextmanager
def _taken_back() -> Iterator[None]:
    """One transaction that is rolled back at its end, so that a dry run sees what the real one would see."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


Batch = list[tuple[Row, Any]]
Refuse = Callable[[Row, list[Fault]], None]


def _batches(table: Table, importer: Importer[Any], report: ImportReport, refuse: Refuse) -> Iterator[Batch]:
    batch: Batch = []
    for row in table.rows():
        report.rows += 1
        parsed = importer.read(row)
        if isinstance(parsed, list):
            refuse(row, parsed)
            continue
        full = len(batch) >= BATCH_ROWS
        if full and (len(batch) >= MOST_OF_A_BATCH or not importer.belongs_to(parsed, batch[-1][1])):
            yield batch
            batch = []
        batch.append((row, parsed))
    yield batch


def _store(
    batch: Batch, importer: Importer[Any], report: ImportReport, refuse: Refuse, columns: Columns, survey: Survey
) -> None:
    """All rows at once; if the database refuses one of them, each by itself, so that one row costs no other."""
    try:
        with transaction.atomic():
            answers = importer.apply([parsed for _, parsed in batch])
    except (IntegrityError, DataError):
        importer.begin(columns, survey.date_orders)
        answers = [_alone(parsed, importer, columns, survey) for _, parsed in batch]
    for (row, _), answer in zip(batch, answers, strict=True):
        if isinstance(answer, list):
            refuse(row, answer)
        else:
            setattr(report, answer.value, getattr(report, answer.value) + 1)


def _alone(parsed: Any, importer: Importer[Any], columns: Columns, survey: Survey) -> Answer:
    try:
        with transaction.atomic():
            return importer.apply([parsed])[0]
    except (IntegrityError, DataError):
        importer.begin(columns, survey.date_orders)
        problem = N_("The row contradicts what is stored, or somebody else stored the same just now.")
        return [Fault("", "", problem, N_("Look up the customer, compare, and import the row again."))]


@contextlib.contextmanager
def _refusals(report: ImportReport, table: Table, width: int, path: Path | None) -> Iterator[Refuse]:
    """Count and keep refused rows, and write all of them to the corrections file if there is one to write."""
    with contextlib.ExitStack() as stack:
        out: list[CsvOut] = []
        kept = [at for at, name in enumerate(table.header) if plain(name) not in BOOKKEEPING]
        kept += range(len(table.header), width)

        def refuse(row: Row, faults: list[Fault]) -> None:
            report.refused += 1
            if len(report.refusals) < SHOWN_REFUSALS:
                report.refusals.append(RefusedRow(row.number, tuple(faults)))
            if path is None:
                return
            if not out:
                file = stack.enter_context(path.open("w", encoding=ENCODING, errors="replace", newline=""))
                out.append(CsvOut(file, _corrections_header(table, kept)))
                report.corrections = path
            out[0].write(_corrections_row(row, faults, kept))

        yield refuse


def _corrections_header(table: Table, kept: list[int]) -> list[str]:
    width = len(table.header)
    names = [table.header[at] if at < width else f"surplus {at - width + 1}" for at in kept]
    return [*names, ROW, PROBLEM, WHAT_TO_DO]


def _corrections_row(row: Row, faults: list[Fault], kept: list[int]) -> list[Any]:
    cells = [row.cells[at] if at < len(row.cells) else None for at in kept]
    problems = [f"{fault.column}: {fault.problem_text(gettext)}".removeprefix(": ") for fault in faults]
    advice = dict.fromkeys(fault.advice_text(gettext) for fault in faults)
    return [*cells, str(row.number), " ".join(problems), " ".join(advice)]
