from collections.abc import Iterable
from datetime import date
from typing import Any, cast

from django import forms
from django.utils.translation import gettext_lazy as _

from pricing.earnings.domain.breakdown import Breakdown
from pricing.earnings.wording import breakdown_word


class ReportForm(forms.Form):
    """Which jobs are judged, and by what they are told apart; empty fields mean all jobs up to today, by service."""

    by = forms.ChoiceField(required=False, label=_("By"))
    service = forms.ChoiceField(required=False, label=_("Only"))

    since = forms.DateField(required=False, label=_("Jobs from"), widget=forms.DateInput(attrs={"type": "date"}))
    until = forms.DateField(required=False, label=_("to"), widget=forms.DateInput(attrs={"type": "date"}))

    def __init__(self, *args: Any, services: Iterable[tuple[str, str]] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        by, service = cast("forms.ChoiceField", self.fields["by"]), cast("forms.ChoiceField", self.fields["service"])
        by.choices = [(str(each), breakdown_word(each)) for each in Breakdown]
        service.choices = [("", _("all services")), *services]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        since, until = cleaned.get("since"), cleaned.get("until")
        if since and until and until < since:
            self.add_error("until", _("The last day must not be before the first."))
        return cleaned

    def question(self, today: date) -> dict[str, Any]:
        """Keywords of ``earnings_report``; the form must be valid."""
        data = self.cleaned_data
        return {
            "since": data["since"],
            "until": data["until"] or today,
            "by": Breakdown(data["by"] or Breakdown.SERVICE),
            "service_code": data["service"],
        }
