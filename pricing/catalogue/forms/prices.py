"""Taxes, targets, and what is done with a whole card."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.translation import gettext_lazy as _

from shared.web.forms import PercentField

CENTS = 100


def money_field(label: Any, least: Decimal) -> forms.DecimalField:
    """An amount in the company's money, to the cent, from ``least`` to 10,000."""
    return forms.DecimalField(
        label=label,
        max_digits=8,
        decimal_places=2,
        validators=[MinValueValidator(least), MaxValueValidator(Decimal(10_000))],
        widget=forms.NumberInput(attrs={"step": "0.01", "inputmode": "decimal"}),
    )


def whole_cents(amount: Decimal) -> int:
    """Exact, since the field takes no parts of a cent."""
    return int(amount * CENTS)


class TaxForm(forms.Form):
    """A tax from a day on; 0 percent ends it."""

    name = forms.CharField(label=_("Tax"), max_length=60)
    effective_from = forms.DateField(label=_("From"), widget=forms.DateInput(attrs={"type": "date"}))
    rate_millionths = PercentField(label=_("Percent"), help_text=_("0 ends it"))


class TargetForm(forms.Form):
    """A new hourly target with its reserve, for a two-person crew, from a day on."""

    effective_from = forms.DateField(label=_("From"), widget=forms.DateInput(attrs={"type": "date"}))
    target = money_field(_("Target per crew-hour"), least=Decimal(1))
    reserve = money_field(_("Reserve per crew-hour"), least=Decimal(0))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        target, reserve = cleaned.get("target"), cleaned.get("reserve")
        if target is not None and reserve is not None and reserve > target:
            self.add_error("reserve", _("The reserve must not be above the target."))
        return cleaned

    @property
    def target_cents(self) -> int:
        return whole_cents(self.cleaned_data["target"])

    @property
    def reserve_cents(self) -> int:
        return whole_cents(self.cleaned_data["reserve"])


class CardFileForm(forms.Form):
    file = forms.FileField(label=_("CSV or JSON"))
    dry_run = forms.BooleanField(label=_("only say what it would change"), required=False)


class InForceForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)
    effective_from = forms.DateField(label=_("First day"), widget=forms.DateInput(attrs={"type": "date"}))
    note = forms.CharField(label=_("Note"), required=False, max_length=200)


class WithdrawForm(forms.Form):
    """Why a card is withdrawn, and that it is meant."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(label=_("Why"), required=False, max_length=200)
    sure = forms.BooleanField(label=_("Yes, this card shall not begin"))
