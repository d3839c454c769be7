from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from pricing.catalogue.forms import money_field, whole_cents
from pricing.costs.models import Bonus, MileageRate, Weekday, Worker
from shared.web.forms import MoneyField

TENTHS_OF_CENT = 1000  # of a dollar


class TermsForm(forms.Form):
    """A worker's crew and wage from a day on."""

    name = forms.CharField(label=_("Name"), max_length=Worker._meta.get_field("name").max_length)
    effective_from = forms.DateField(label=_("From"), widget=forms.DateInput(attrs={"type": "date"}))
    crew_code = forms.SlugField(
        label=_("Crew"), max_length=20, required=False, help_text=_("Its code; empty for somebody who leaves")
    )
    wage = money_field(_("Wage an hour"), least=Decimal(0))
    burden_percent = forms.IntegerField(
        label=_("Taxes and insurance, in percent"),
        required=False,
        min_value=0,
        max_value=100,
        help_text=_("Empty: as the company's settings say"),
    )

    def values(self) -> dict[str, Any]:
        """Keywords of ``worker_terms_set``; the form must be valid."""
        data = dict(self.cleaned_data)
        return {"cents_per_hour": whole_cents(data.pop("wage")), **data}


class BonusForm(forms.Form):
    """A bonus for the week that its day lies in."""

    name = forms.CharField(label=_("Name"), max_length=Worker._meta.get_field("name").max_length)
    earned_on = forms.DateField(label=_("A day of its week"), widget=forms.DateInput(attrs={"type": "date"}))
    amount = money_field(_("Bonus"), least=Decimal("0.01"))
    is_promised = forms.BooleanField(
        label=_("promised beforehand"),
        required=False,
        initial=True,
        help_text=_("For speed, attendance, staying on: it then raises the overtime of its week"),
    )
    reason = forms.CharField(label=_("What for"), max_length=Bonus._meta.get_field("reason").max_length)

    def values(self) -> dict[str, Any]:
        """Keywords of ``bonus_add``; the form must be valid."""
        data = dict(self.cleaned_data)
        return {"cents": whole_cents(data.pop("amount")), **data}


class CostSettingsForm(forms.Form):
    week_starts_on = forms.TypedChoiceField(label=_("The work week begins on"), choices=Weekday.choices, coerce=int)
    drawings_cents_a_year = MoneyField(
        label=_("Owner's drawings a year"), required=False, help_text=_("Empty: not reckoned with")
    )


class MileageForm(forms.Form):
    """The rate of a year, as the notice prints it: 0.725 of a dollar a mile."""

    year = forms.IntegerField(label=_("Year"), min_value=2000, max_value=2100)
    rate = forms.DecimalField(
        label=_("Rate a mile"),
        min_value=Decimal("0.001"),
        max_value=Decimal(100),
        max_digits=6,
        decimal_places=3,
        widget=forms.NumberInput(attrs={"step": "0.001", "inputmode": "decimal"}),
    )
    source = forms.CharField(label=_("Source"), max_length=MileageRate._meta.get_field("source").max_length)

    def values(self) -> dict[str, Any]:
        """Keywords of ``mileage_rate_set``; the form must be valid."""
        data = dict(self.cleaned_data)
        return {"tenths_of_cent_per_mile": int(data.pop("rate") * TENTHS_OF_CENT), **data}


class WeekForm(forms.Form):
    """Any day of the week to look at."""

    week = forms.DateField(required=False, label=_("Week of"), widget=forms.DateInput(attrs={"type": "date"}))
