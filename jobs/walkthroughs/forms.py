from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.walkthroughs.domain import STEPS, step_text


def _decimal(value: Any) -> Decimal | None:
    return Decimal(value) if value else None


class ReadingForm(forms.Form):
    """One reading by finger test on our field scale."""

    reading = forms.TypedChoiceField(
        label=_("Chalk, 0 none to 5 worst"),
        choices=[("", "–"), *((step_text(step), step_text(step)) for step in STEPS)],
        coerce=_decimal,
    )
    read_on = forms.DateField(label=_("Day"), widget=forms.DateInput(attrs={"type": "date"}))
    days_since_rain = forms.IntegerField(
        label=_("Days since rain"), required=False, min_value=0, max_value=365, help_text=_("Rain washes chalk off.")
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=200)
