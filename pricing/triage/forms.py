from django import forms
from django.utils.translation import gettext_lazy as _

from pricing.triage.choices import Choice


class DecideForm(forms.Form):
    """What to do with a lead, and the price that is named to the customer."""

    choice = forms.ChoiceField(label=_("Decide"), choices=Choice.choices)
    price_cents = forms.DecimalField(label=_("Price to name"), min_value=1, max_value=1_000_000, decimal_places=2)
    reason = forms.CharField(label=_("Why"), required=False, max_length=200)

    def clean_price_cents(self) -> int:
        """Exact, since the field takes no parts of a cent."""
        return int(self.cleaned_data["price_cents"] * 100)
