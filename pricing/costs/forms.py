from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from pricing.catalogue.forms import money_field, whole_cents
from pricing.costs.models import Worker


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


class WeekForm(forms.Form):
    """Any day of the week to look at."""

    week = forms.DateField(required=False, label=_("Week of"), widget=forms.DateInput(attrs={"type": "date"}))
