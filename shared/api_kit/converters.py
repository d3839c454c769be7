"""Ids in addresses. One that no row can have is an unknown address (404), not an overflow in the database."""

from django.urls import register_converter

GREATEST_ID = 2**63 - 1  # BigAutoField on both databases


class RowId:
    """`<row:job_id>`: 1 to 2^63 - 1, without leading zeros."""

    regex = "[1-9][0-9]{0,18}"

    def to_python(self, value: str) -> int:
        number = int(value)
        if number > GREATEST_ID:
            raise ValueError(f"No row has the id {value}.")
        return number

    def to_url(self, value: int | str) -> str:
        return str(value)


def register() -> None:
    """Make `<row:...>` known; `shared.api_kit.apps` calls it once, before any urls.py is read."""
    register_converter(RowId, "row")
