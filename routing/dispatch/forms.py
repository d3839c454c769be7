from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.walkthroughs.domain import STEPS, step_text
from jobs.work.domain.booking import LineBooked
from jobs.work.forms import MoneyField
from routing.dispatch.sheet import SheetWall

CLOCK = forms.TimeInput(attrs={"type": "time"})


class SendOutForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)


class MarkForm(forms.Form):
    """A mark made now, or at another time of the day when the button was forgotten."""

    clock = forms.TimeField(label=_("At another time"), required=False, widget=CLOCK)


class FinishForm(MarkForm):
    note = forms.CharField(
        label=_("Note for the office"), required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 3})
    )


class FinishLineForm(forms.Form):
    """What one service took; the minutes come filled in from the clock."""

    line_id = forms.IntegerField(widget=forms.HiddenInput)
    minutes = forms.IntegerField(
        label=_("Minutes"),
        required=False,
        min_value=0,
        max_value=1_440,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    materials_cents = MoneyField(label=_("Materials used, in money"), required=False)

    @property
    def booked(self) -> LineBooked:
        cleaned = self.cleaned_data
        return LineBooked(cleaned["line_id"], cleaned["minutes"], cleaned["materials_cents"])


FinishLineFormSet = forms.formset_factory(FinishLineForm, extra=0, max_num=20, absolute_max=20)


class ReadingsForm(forms.Form):
    """A chalk reading for each wall that was looked at; the others stay empty."""

    def __init__(self, walls: Sequence[SheetWall], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [("", _("not read")), *((step_text(step), step_text(step)) for step in STEPS)]
        for wall in walls:
            self.fields[f"wall_{wall.wall_id}"] = forms.ChoiceField(label=wall.name, required=False, choices=choices)

    @property
    def readings(self) -> dict[int, Decimal]:
        """By wall, those that were given."""
        given = ((name, value) for name, value in self.cleaned_data.items() if value)
        return {int(name.removeprefix("wall_")): Decimal(value) for name, value in given}
