from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.translation import gettext_lazy as _

from routing.plans.choices import FIRST_DAY, LAST_DAY, ChangeKind, CrewNews, PlanObjective
from routing.plans.models import MOST_SECONDS, ShiftException
from routing.plans.selectors.hours import MINUTES_OF_A_CLOCK


class PlanForm(forms.Form):
    """Ask for a day to be planned."""

    seconds = forms.IntegerField(label=_("Seconds to look for better plans"), min_value=1, max_value=MOST_SECONDS)
    objective = forms.ChoiceField(
        label=_("Plan for"), choices=PlanObjective.choices, required=False, initial=PlanObjective.VALUE
    )

    def clean_objective(self) -> str:
        return self.cleaned_data["objective"] or PlanObjective.VALUE


class ChangeForm(forms.Form):
    """One change by hand. `position` counts from 1; empty means last."""

    kind = forms.ChoiceField(choices=ChangeKind.choices)
    job = forms.IntegerField(min_value=1, max_value=2**63 - 1)
    version = forms.IntegerField(min_value=0, max_value=2**31 - 1)
    crew = forms.SlugField(required=False, max_length=20)
    position = forms.IntegerField(required=False, min_value=1, max_value=10_000)

    def change(self) -> dict[str, Any]:
        """Keywords of `plan_change`."""
        data = self.cleaned_data
        return {
            "kind": data["kind"],
            "job_id": data["job"],
            "expected_version": data["version"],
            "crew_code": data["crew"],
            "position": data["position"],
        }


class WeekForm(forms.Form):
    """Ask for a week to be planned."""

    seconds = forms.IntegerField(label=_("Seconds to look for better plans"), min_value=1, max_value=MOST_SECONDS)


class CrewNewsForm(forms.Form):
    """A crew drops out, or starts late."""

    crew = forms.SlugField(label=_("Crew"), max_length=20)
    kind = forms.ChoiceField(label=_("What happened"), choices=CrewNews.choices)
    at = forms.TimeField(label=_("At"), widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))
    version = forms.IntegerField(min_value=0, max_value=2**31 - 1)


class DateForm(forms.Form):
    day = forms.DateField(
        label=_("Day"),
        widget=forms.DateInput(attrs={"type": "date"}),
        validators=[MinValueValidator(FIRST_DAY), MaxValueValidator(LAST_DAY)],
    )


class ShiftExceptionForm(forms.ModelForm):
    """A day off, or other hours, for one crew."""

    starts_at = forms.TimeField(
        label=_("Starts"), required=False, widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )
    ends_at = forms.TimeField(
        label=_("Ends"), required=False, widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )

    class Meta:
        model = ShiftException
        fields = ["work_date", "is_off", "reason"]
        labels = {"work_date": _("Day"), "is_off": _("Off all day"), "reason": _("Reason")}
        widgets = {"work_date": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")}

    field_order = ["work_date", "is_off", "starts_at", "ends_at", "reason"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not data.get("is_off") and not (data.get("starts_at") or data.get("ends_at")):
            raise forms.ValidationError(_("Say that the crew is off, or when it starts or ends."))
        return data

    def hours(self) -> dict[str, int]:
        """The hours that were given, as minutes of the clock."""
        pairs = {"start_minute": self.cleaned_data["starts_at"], "end_minute": self.cleaned_data["ends_at"]}
        return {name: (at.hour * 60 + at.minute) % MINUTES_OF_A_CLOCK for name, at in pairs.items() if at is not None}

    def _post_clean(self) -> None:
        """The service validates the whole row, with the crew's usual hours filled in."""
