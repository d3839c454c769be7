"""What a file would do, for somebody who is about to decide: its columns with samples, and a dry run."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any, BinaryIO

from jobs.customers.domain.cells import cell_text
from jobs.customers.domain.columns import BOOKKEEPING, Columns, Field, plain, recognise
from jobs.customers.domain.dates import DateOrder
from jobs.customers.domain.faults import UnreadableFile, shown
from jobs.customers.domain.tables import Table, open_table
from jobs.customers.domain.vocabulary import CUSTOMER_FIELDS, JOB_FIELDS

from .importing import ImportReport
from .imports import import_customers, import_jobs

FIELDS: Mapping[str, tuple[Field, ...]] = {"customers": CUSTOMER_FIELDS, "jobs": JOB_FIELDS}
SAMPLES = 3


@dataclass(frozen=True, slots=True)
class PreviewColumn:
    """A column of the file: heading, some of its values, and the field that it feeds ("" for none)."""

    position: int
    heading: str
    samples: tuple[str, ...]
    field: str
    is_doubtful: bool


@dataclass(frozen=True, slots=True)
class Preview:
    """Either a report of a dry run, or the one sentence that says why there is none."""

    columns: tuple[PreviewColumn, ...]
    report: ImportReport | None
    problem: str


def import_columns(file: BinaryIO) -> tuple[str, ...]:
    """The headings of a file, in their order. Raises UnreadableFile."""
    return open_table(file).header


def import_file(
    file: BinaryIO, *, kind: str, mapping: Mapping[str, str], date_order: DateOrder | None, **how: Any
) -> ImportReport:
    """One of the two imports by its name; `how` is passed on. Raises UnreadableFile."""
    if kind == "jobs":
        return import_jobs(file, mapping=mapping, date_order=date_order, **how)
    return import_customers(file, mapping=mapping, **how)


def import_preview(
    file: BinaryIO, *, kind: str, mapping: Mapping[str, str], date_order: DateOrder | None, actor: Any
) -> Preview:
    """Read the file and try it, changing nothing. Raises UnreadableFile for one that has no columns to show."""
    table = open_table(file)
    columns = _recognised(table, kind, mapping)
    shown_columns = _columns(table, columns)
    try:
        report = import_file(file, kind=kind, mapping=mapping, date_order=date_order, dry_run=True, actor=actor)
    except UnreadableFile as error:
        return Preview(shown_columns, None, str(error))
    return Preview(shown_columns, report, "")


def _recognised(table: Table, kind: str, mapping: Mapping[str, str]) -> Columns:
    """As far as it goes: a mapping that cannot be is said by the dry run, with the columns still shown."""
    try:
        return recognise(table.header, FIELDS[kind], mapping)
    except UnreadableFile:
        return recognise(table.header, FIELDS[kind])


def _columns(table: Table, columns: Columns) -> tuple[PreviewColumn, ...]:
    rows = list(islice(table.rows(), SAMPLES))
    doubtful = {heading for headings in columns.doubtful.values() for heading in headings}
    return tuple(
        PreviewColumn(
            position=at,
            heading=heading,
            samples=tuple(shown(cell_text(row.cells[at]), 40) for row in rows),
            field=columns.field_of(at),
            is_doubtful=heading in doubtful,
        )
        for at, heading in enumerate(table.header)
        if plain(heading) not in BOOKKEEPING
    )
