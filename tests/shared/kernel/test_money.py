"""Cents as text."""

import pytest

from shared.money import format_cents


@pytest.mark.parametrize(
    ("cents", "text"),
    [(123450, "$1,234.50"), (-5, "-$0.05"), (0, "$0.00"), (99, "$0.99"), (100_000_000, "$1,000,000.00")],
)
def test_dollars(cents: int, text: str) -> None:
    """Thousands are grouped, cents always shown, a minus stands before the symbol."""
    assert format_cents(cents) == text


def test_other_currencies() -> None:
    """A currency without a symbol of its own is named by its code."""
    assert format_cents(150, "EUR") == "€1.50"
    assert format_cents(150, "CHF") == "CHF 1.50"
