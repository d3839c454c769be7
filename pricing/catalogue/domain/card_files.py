"""A rate card's rows as CSV and JSON files, there and back."""

import csv
import io
import json
from collections.abc import Mapping
from typing import Any

from pricing.catalogue.domain.card_rows import ALL_COLUMNS, CardContent, in_order

FORMAT = "rate-card/1"
MOST_BYTES = 1_000_000
NumberedRows = list[tuple[int, Mapping[str, object]]]


class UnreadableCard(ValueError):
    """The file as a whole cannot be used; its text is one sentence that may be shown."""


def card_csv(content: CardContent) -> str:
    """One line a row, every column of every part; what a row does not have is empty."""
    out = io.StringIO()
    writer = csv.DictWriter(out, ALL_COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(in_order(content))
    return out.getvalue()


def card_json(content: CardContent) -> dict[str, Any]:
    """`{"format": "rate-card/1", "rows": [...]}`."""
    return {"format": FORMAT, "rows": [dict(row) for row in in_order(content)]}


def rows_of_file(data: bytes) -> NumberedRows:
    """The rows of a CSV or JSON file, numbered by the file's lines or by their place. Raises UnreadableCard."""
    if len(data) > MOST_BYTES:
        raise UnreadableCard("A rate card's file has a megabyte at most.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnreadableCard("The file is not text in UTF-8.") from error
    return _json_rows(text) if text.lstrip().startswith(("{", "[")) else _csv_rows(text)


def _json_rows(text: str) -> NumberedRows:
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise UnreadableCard("The file is not JSON.") from error
    rows = data.get("rows") if isinstance(data, dict) and data.get("format") == FORMAT else None
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise UnreadableCard(f'Expected an object with the format "{FORMAT}" and a list of rows.')
    return list(enumerate(rows, start=1))


def _csv_rows(text: str) -> NumberedRows:
    reader = csv.DictReader(io.StringIO(text, newline=""), restkey="beyond the last column", strict=True)
    try:
        if "part" not in (reader.fieldnames or ()):
            raise UnreadableCard(f"The first line must name the columns: {', '.join(ALL_COLUMNS)}.")
        return [(reader.line_num, row) for row in reader]
    except csv.Error as error:
        raise UnreadableCard("The file is not CSV as spreadsheets write it.") from error
