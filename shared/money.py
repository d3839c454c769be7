"""Money is whole cents; here it becomes text."""

from decimal import Decimal

SYMBOLS = {"USD": "$", "CAD": "$", "EUR": "€", "GBP": "£"}


def format_cents(cents: int, currency: str = "USD") -> str:
    """`123450` -> `$1,234.50`; negative amounts carry a minus sign before the symbol."""
    sign = "-" if cents < 0 else ""
    return f"{sign}{SYMBOLS.get(currency, currency + ' ')}{Decimal(abs(cents)) / 100:,.2f}"
