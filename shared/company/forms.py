from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.utils.translation import gettext_lazy as _

from shared.company.models import Company
from shared.people.domain import e164_of


class CompanyForm(forms.ModelForm):
    """Everything the firm says of itself. The telephone number is read as people write it."""

    phone = forms.CharField(label=_("Telephone"), max_length=40, required=False)
    timezone = forms.ChoiceField(label=_("Time zone"), choices=())

    class Meta:
        model = Company
        fields = (
            "name", "street", "city", "region", "postal_code", "country", "email", "timezone", "currency",
            "reminder_lead_days", "reminder_gap_days", "wage_burden_percent",
        )  # fmt: skip
        labels = {  # noqa: RUF012
            "name": _("Name"),
            "street": _("Street"),
            "city": _("Town"),
            "region": _("State or region"),
            "postal_code": _("Postal code"),
            "country": _("Country, two letters"),
            "email": _("Email"),
            "currency": _("Currency, three letters"),
            "reminder_lead_days": _("Lead time of the due list, in days"),
            "reminder_gap_days": _("Gap between two reminders, in days"),
            "wage_burden_percent": _("Taxes and insurance on wages, in percent"),
        }
        help_texts = {"country": "", "currency": ""}  # noqa: RUF012

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zones = sorted(zone for zone in available_timezones() if "/" in zone)
        self.fields["timezone"].choices = [(zone, zone.replace("_", " ")) for zone in zones]  # type: ignore[attr-defined]
        self.fields["email"].help_text = _("Reminders come from here, and answers go here.")

    def clean_country(self) -> str:
        return str(self.cleaned_data["country"]).upper()

    def clean_currency(self) -> str:
        return str(self.cleaned_data["currency"]).upper()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        try:
            cleaned["phone_e164"] = e164_of(cleaned.get("phone", ""), cleaned.get("country", ""))
        except ValueError:
            self.add_error("phone", _("This is not a telephone number. Write it with its area code."))
        return cleaned

    def values(self) -> dict[str, Any]:
        """What `company_update` takes."""
        return {name: self.cleaned_data[name] for name in (*self.Meta.fields, "phone_e164")}
