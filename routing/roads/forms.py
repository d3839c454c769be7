from datetime import time
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from routing.roads.domain.speeds import LONGEST_NAME, MOST_HOURS, HourClass
from routing.roads.models import LEAST_PERCENT, MOST_PERCENT, PERCENTS

SPARE_ROWS = 2


class SpeedField(forms.IntegerField):
    """Speed in percent of the free one."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.NumberInput(attrs={"inputmode": "numeric"})
        super().__init__(min_value=LEAST_PERCENT, max_value=MOST_PERCENT, widget=widget, **kwargs)


class HoursForm(forms.Form):
    """One row of the traffic hours. A row whose name was taken out is no row any more."""

    name = forms.CharField(label=_("Name"), max_length=LONGEST_NAME, required=False)
    begins = forms.TimeField(label=_("From"), required=False, widget=forms.TimeInput(attrs={"type": "time"}))
    motorway_percent = SpeedField(label=_("Motorways, %"), required=False)
    main_percent = SpeedField(label=_("Main roads, %"), required=False)
    street_percent = SpeedField(label=_("Streets, %"), required=False)
    last_mile_percent = SpeedField(label=_("Private ways, %"), required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("name"):
            for field in ("begins", *PERCENTS):
                if cleaned.get(field) is None and field not in self.errors:
                    self.add_error(field, _("Fill this in, or take the name out to drop the row."))
        return cleaned

    @property
    def hours(self) -> HourClass | None:
        """What the row says; None for an empty one."""
        cleaned = self.cleaned_data
        if not cleaned.get("name"):
            return None
        motorway, main, street, last_mile = (cleaned[field] for field in PERCENTS)
        return HourClass(cleaned["name"], minute_of(cleaned["begins"]), (motorway, main, street, last_mile))


TrafficFormSet = forms.formset_factory(
    HoursForm, extra=SPARE_ROWS, max_num=MOST_HOURS + SPARE_ROWS, absolute_max=2 * MOST_HOURS
)


def hours_of(rows: forms.BaseFormSet) -> list[HourClass]:
    """The table that the valid rows of a TrafficFormSet make."""
    return [form.hours for form in rows.forms if form.hours is not None]


def minute_of(clock: time) -> int:
    return clock.hour * 60 + clock.minute


def shown(hours: HourClass) -> dict[str, Any]:
    """What a form shows of a row."""
    begins = time(hours.from_minute // 60, hours.from_minute % 60)
    return {"name": hours.name, "begins": begins.strftime("%H:%M"), **dict(zip(PERCENTS, hours.percent, strict=True))}
