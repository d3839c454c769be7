from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.work.choices import JobState
from jobs.work.domain.booking import LineBooked
from jobs.work.services import NewWindow
from pricing.catalogue.models import Service
from pricing.minutes.choices import AccessLevel, SoilLevel
from routing.plans.models import Crew
from shared import clock
from shared.units import metres_from_miles
from shared.web.forms import MoneyField

LAST_MINUTE = 1439


class JobFilterForm(forms.Form):
    state = forms.ChoiceField(label=_("State"), required=False, choices=[("", _("any")), *JobState.choices])
    words = forms.CharField(label=_("Name, street or number"), required=False, max_length=80)


class StepForm(forms.Form):
    """A step of the job: the version that the page showed, and the reason where the step wants one."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(label=_("Why"), required=False, max_length=200)


class ConfirmForm(forms.Form):
    """That a wall, or the whole house where it is empty, was rinsed at a time at which nobody wrote it down."""

    wall = forms.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    day = forms.DateField(label=_("Rinsed on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    clock = forms.TimeField(label=_("At"), widget=forms.TimeInput(attrs={"type": "time"}))
    reason = forms.CharField(label=_("How you know"), min_length=3, max_length=200)

    @classmethod
    def on(cls, today: date) -> "ConfirmForm":
        """Empty but for the day."""
        return cls(initial={"day": today})

    def moment(self, zone: str) -> datetime:
        day = self.cleaned_data["day"]
        return clock.at_minute(day, clock.minute_of_wall_clock(day, self.cleaned_data["clock"], zone), zone)


class WindowForm(forms.Form):
    """A day or a span of days, with hours; all empty means that this line is not used."""

    first_date = forms.DateField(label=_("First day"), required=False, widget=forms.DateInput(attrs={"type": "date"}))
    last_date = forms.DateField(label=_("Last day"), required=False, widget=forms.DateInput(attrs={"type": "date"}))
    begins = forms.TimeField(label=_("Not before"), required=False, widget=forms.TimeInput(attrs={"type": "time"}))
    ends = forms.TimeField(label=_("Begin by"), required=False, widget=forms.TimeInput(attrs={"type": "time"}))
    promised = forms.BooleanField(label=_("Promised"), required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        first, last = cleaned.get("first_date"), cleaned.get("last_date")
        if first and last and last < first:
            self.add_error("last_date", _("The last day must not be before the first."))
        elif first and cleaned.get("promised") and last not in (None, first):
            self.add_error("promised", _("A promise names one day."))
        elif not first and any(cleaned.values()):
            self.add_error("first_date", _("Say on which day."))
        if self.window and self.window.end_minute < self.window.start_minute:
            self.add_error("ends", _("The window must end after it begins, on the same day."))
        return cleaned

    @property
    def window(self) -> NewWindow | None:
        first = self.cleaned_data.get("first_date")
        if first is None:
            return None
        return NewWindow(
            first_date=first,
            last_date=self.cleaned_data.get("last_date") or first,
            start_minute=_minute(self.cleaned_data.get("begins"), 0),
            end_minute=_minute(self.cleaned_data.get("ends"), LAST_MINUTE),
            promised=bool(self.cleaned_data.get("promised")),
        )


def _minute(at: time | None, otherwise: int) -> int:
    return otherwise if at is None else at.hour * 60 + at.minute


WindowFormSet = forms.formset_factory(WindowForm, extra=2, max_num=12, absolute_max=20)


class NewJobForm(forms.Form):
    state = forms.ChoiceField(
        label=_("It is"),
        choices=[
            (JobState.LEAD, _("a lead")),
            (JobState.ESTIMATED, _("estimated")),
            (JobState.AGREED, _("agreed")),
        ],
    )
    discount_cents = MoneyField(label=_("Discount"), required=False)
    source = forms.CharField(label=_("How it came"), required=False, max_length=60)
    note = forms.CharField(label=_("Note for the crew"), required=False, widget=forms.Textarea, max_length=2000)


class NewLineForm(forms.Form):
    """One service; what is left empty comes from the rate card."""

    service = forms.ModelChoiceField(label=_("Service"), queryset=Service.objects.none(), required=False)
    quantity = forms.IntegerField(label=_("Quantity"), required=False, min_value=1, max_value=1_000_000)
    estimated_minutes = forms.IntegerField(label=_("Minutes on site"), required=False, min_value=1, max_value=6_000)
    price_cents = MoneyField(label=_("Price"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        service = self.fields["service"]
        assert isinstance(service, forms.ModelChoiceField)
        service.queryset = Service.objects.filter(is_offered=True)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not cleaned.get("service") and any(value is not None for key, value in cleaned.items() if key != "service"):
            self.add_error("service", _("Say which service."))
        return cleaned


NewLineFormSet = forms.formset_factory(NewLineForm, extra=4, max_num=10, absolute_max=12)


class BookForm(forms.Form):
    """What a crew really did, booked by the office. Driving left empty is taken from the route that was sent out."""

    work_date = forms.DateField(label=_("Day"), widget=forms.DateInput(attrs={"type": "date"}))
    crew = forms.ModelChoiceField(label=_("Crew"), queryset=Crew.objects.filter(is_active=True))
    on_site_minutes = forms.IntegerField(label=_("Minutes on site"), min_value=1, max_value=6_000)
    drive_minutes = forms.IntegerField(label=_("Minutes driven"), required=False, min_value=0, max_value=600)
    drive_miles = forms.DecimalField(
        label=_("Miles driven"), required=False, min_value=Decimal(0), max_value=Decimal(500), decimal_places=1
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=2000)

    @property
    def driving(self) -> tuple[int, int] | None:
        """Minutes and metres; None where neither was given."""
        minutes, miles = self.cleaned_data["drive_minutes"], self.cleaned_data["drive_miles"]
        if minutes is None and miles is None:
            return None
        return minutes or 0, metres_from_miles(miles or Decimal(0))


class LineBookForm(forms.Form):
    """Minutes and materials of one line, as booked; empty: by the estimate."""

    line_id = forms.IntegerField(widget=forms.HiddenInput)
    minutes = forms.IntegerField(label=_("Minutes"), required=False, min_value=0, max_value=6_000)
    materials_cents = MoneyField(label=_("Materials"), required=False)

    @property
    def booked(self) -> LineBooked:
        cleaned = self.cleaned_data
        return LineBooked(cleaned["line_id"], cleaned["minutes"], cleaned["materials_cents"])


LineBookFormSet = forms.formset_factory(LineBookForm, extra=0, max_num=20, absolute_max=20)


class TermsForm(forms.Form):
    discount_cents = MoneyField(label=_("Discount"), required=False)
    reason = forms.CharField(label=_("Why"), required=False, max_length=200)


class LineTermsForm(forms.Form):
    """Price and minutes of one line, as agreed anew."""

    line_id = forms.IntegerField(widget=forms.HiddenInput)
    price_cents = MoneyField(label=_("Price"))
    estimated_minutes = forms.IntegerField(label=_("Minutes on site"), min_value=0, max_value=6_000)


LineTermsFormSet = forms.formset_factory(LineTermsForm, extra=0, max_num=20, absolute_max=20)


class ConditionsForm(forms.Form):
    """How the property is to be worked at: the minutes that are learnt depend on it."""

    access = forms.ChoiceField(label=_("Access"), choices=AccessLevel.choices)
    soil = forms.ChoiceField(label=_("Soil"), choices=SoilLevel.choices)


class ReturnVisitForm(forms.Form):
    on_site_minutes = forms.IntegerField(label=_("Minutes on site"), min_value=1, max_value=6_000)
    reason = forms.CharField(label=_("What has to be made good"), max_length=200)


class CorrectForm(forms.Form):
    on_site_minutes = forms.IntegerField(label=_("Minutes on site"), min_value=1, max_value=6_000)
    reason = forms.CharField(label=_("Why"), max_length=200)


class RefundForm(forms.Form):
    refund_cents = MoneyField(label=_("Amount"))
    reason = forms.CharField(label=_("Why"), max_length=200)
