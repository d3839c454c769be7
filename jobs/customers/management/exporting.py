"""What the two export commands share."""

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from tqdm import tqdm

from jobs.customers.domain.outfiles import ENCODING

STANDARD_OUTPUT = Path("-")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of both commands."""
    parser.add_argument("file", type=Path, nargs="?", default=STANDARD_OUTPUT, help="CSV to write; - or nothing: print")


def run(command: BaseCommand, export: Callable[..., int], options: dict[str, Any]) -> None:
    """Write the file, or print it."""
    path: Path = options["file"]
    if path == STANDARD_OUTPUT:
        export(sys.stdout if command.stdout._out is sys.stdout else command.stdout._out)
        return
    with path.open("w", encoding=ENCODING, newline="") as file, tqdm(desc=path.name, unit=" rows", leave=False) as bar:
        rows = export(file, progress=lambda done: bar.update(done - bar.n))
    command.stdout.write(f"{rows} rows in {path}.")
