"""What the two import commands share: options, progress bar, report, exit codes."""

import argparse
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from tqdm import tqdm

from jobs.customers.domain.dates import DateOrder
from jobs.customers.domain.faults import UnreadableFile
from jobs.customers.services import ImportReport

SOME_REFUSED, UNREADABLE = 1, 2
Import = Callable[..., ImportReport]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of both commands."""
    parser.add_argument("file", type=Path, help="CSV or XLSX; the first row names the columns")
    parser.add_argument("--dry-run", action="store_true", help="say what would happen and change nothing")
    parser.add_argument(
        "--map",
        action="append",
        default=[],
        metavar="COLUMN=FIELD",
        help='what a column is, such as "Their name=customer_name"; FIELD - leaves it out; may be repeated',
    )
    parser.add_argument("--json", action="store_true", help="print the report as JSON")
    parser.add_argument(
        "--corrections", type=Path, help="where refused rows go; default: beside the file, ending in -corrections.csv"
    )


def run(command: BaseCommand, take: Import, options: dict[str, Any], **how: Any) -> None:
    """Import, report, and leave with 1 when rows were refused, with 2 when the file cannot be used."""
    path: Path = options["file"]
    corrections = options["corrections"] or path.with_name(f"{path.stem}-corrections.csv")
    mapping = _mapping(options["map"])
    try:
        with path.open("rb") as file, tqdm(desc=path.name, unit=" rows", leave=False) as bar:
            report = take(
                file,
                mapping=mapping,
                dry_run=options["dry_run"],
                actor=None,
                corrections=None if options["dry_run"] else corrections,
                progress=_progress(bar),
                **how,
            )
    except OSError as error:
        raise CommandError(f"{path} cannot be opened: {error.strerror}.", returncode=UNREADABLE) from error
    except UnreadableFile as error:
        raise CommandError(str(error), returncode=UNREADABLE) from error
    command.stdout.write(json.dumps(report.as_json(), indent=1) if options["json"] else _as_text(report))
    if report.refused:
        raise CommandError(_refused(report), returncode=SOME_REFUSED)


def date_order_of(word: str | None) -> DateOrder | None:
    return DateOrder(word) if word else None


def _mapping(pairs: list[str]) -> dict[str, str]:
    mapping = {}
    for pair in pairs:
        heading, equals, field = pair.rpartition("=")
        if not equals:
            raise CommandError(f'Write --map "Their column=our_field", not “{pair}”.', returncode=UNREADABLE)
        mapping[heading.strip()] = field.strip()
    return mapping


def _progress(bar: Any) -> Callable[[int, int], None]:
    def told(done: int, total: int) -> None:
        bar.total = total
        bar.update(done - bar.n)

    return told


def _refused(report: ImportReport) -> str:
    where = f" They are in {report.corrections}: correct them there and import that file." if report.corrections else ""
    return f"{report.refused} of {report.rows} rows were refused.{where}"


def _as_text(report: ImportReport) -> str:
    would = "would be " if report.dry_run else ""
    lines = [
        f"{report.rows} rows: {report.created} {would}new, {report.changed} {would}changed, "
        f"{report.unchanged} as they are, {report.refused} refused."
    ]
    lines += [f"Note: {note}." for note in report.notes]
    lines += [f"Column not used: {name}" for name in report.columns.unknown]
    lines += [f"Column for the other import: {name}" for name in report.columns.elsewhere]
    for refusal in report.as_json()["refusals"]:
        for fault in refusal["faults"]:
            where = f"row {refusal['row']}, {fault['column']}" if fault["column"] else f"row {refusal['row']}"
            value = f" “{fault['value']}”" if fault["value"] else ""
            lines.append(f"{where}{value}: {fault['problem']} {fault['what_to_do']}")
    return "\n".join(lines)
