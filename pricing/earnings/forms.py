from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from pricing.catalogue.forms import money_field, whole_cents
from pricing.catalogue.models import Service


class PeriodForm(forms.Form):
    """The period whose jobs are judged; empty fields mean all jobs up to today."""

    since = forms.DateField(required=False, label=_("Jobs from"), widget=forms.DateInput(attrs={"type": "date"}))
    until = forms.DateField(required=False, label=_("to"), widget=forms.DateInput(attrs={"type": "date"}))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        since, until = cleaned.get("since"), cleaned.get("until")
        if since and until and until < since:
            self.add_error("until", _("The last day must not be before the first."))
        return cleaned

    def period(self, today: date) -> tuple[date | None, date]:
        """First and last day; the form must be valid."""
        return self.cleaned_data["since"], self.cleaned_data["until"] or today


class RefundForm(forms.Form):
    """Money given back, or a discount granted after the work was booked."""

    job = forms.IntegerField(min_value=1, label=_("Job number"))
    service = forms.ModelChoiceField(Service.objects.all(), label=_("For which service"))
    amount = money_field(_("Amount given back"), least=Decimal("0.01"))
    reason = forms.CharField(max_length=200, label=_("Reason"))

    @property
    def refund_cents(self) -> int:
        return whole_cents(self.cleaned_data["amount"])
