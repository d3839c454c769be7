from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _


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
