"""Form fields that several rooms ask with."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator

CENTS = 100
MILLIONTHS_PER_PERCENT = 10_000


class MoneyField(forms.DecimalField):
    """An amount as people write it; `None` where the field was left empty. Cleans to whole cents."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.NumberInput(attrs={"step": "0.01", "min": "0", "inputmode": "decimal"}))
        kwargs.setdefault("validators", [MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(1_000_000))])
        super().__init__(max_digits=9, decimal_places=2, **kwargs)

    def clean(self, value: Any) -> int | None:
        amount = super().clean(value)
        return None if amount is None else int(amount * CENTS)

    def prepare_value(self, value: Any) -> Any:
        return f"{Decimal(value) / CENTS:.2f}" if isinstance(value, int) else value


class PercentField(forms.DecimalField):
    """A rate as people write it, up to four places; `None` where it was left empty. Cleans to whole millionths."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.NumberInput(attrs={"step": "any", "min": "0", "inputmode": "decimal"}))
        kwargs.setdefault("validators", [MinValueValidator(Decimal(0)), MaxValueValidator(Decimal("99.9999"))])
        super().__init__(max_digits=6, decimal_places=4, **kwargs)

    def clean(self, value: Any) -> int | None:
        percent = super().clean(value)
        return None if percent is None else int(percent * MILLIONTHS_PER_PERCENT)

    def prepare_value(self, value: Any) -> Any:
        return f"{Decimal(value) / MILLIONTHS_PER_PERCENT:f}" if isinstance(value, int) else value
