from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.mixing.choices import BasisChoice, Surface
from jobs.mixing.domain.mixing import Injector
from jobs.mixing.domain.reckoning import MixQuestion
from jobs.mixing.domain.strength import Basis, Strength
from jobs.mixing.forms import GallonsField, PercentField
from jobs.mixing.models import COLDEST_F, WARMEST_F
from jobs.work.domain.booking import LineBooked
from routing.dispatch.models import Rig, TellingSettings
from shared.units import ML_PER_US_GALLON
from shared.web.forms import MoneyField

MOST_ID = 2**63 - 1
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


class StepForm(forms.Form):
    """A step of the work instructions, done or not after all."""

    line = forms.IntegerField(min_value=1, max_value=MOST_ID)
    step = forms.SlugField(max_length=30)
    is_done = forms.BooleanField(required=False)


class RinseForm(forms.Form):
    """A wall, or the whole house where it is empty."""

    wall = forms.IntegerField(required=False, min_value=1, max_value=MOST_ID)


class PourForm(RinseForm):
    """What is poured, with the strength that the mix sheet gave."""

    product = forms.IntegerField(min_value=1, max_value=MOST_ID)
    basis_points = forms.IntegerField(required=False, min_value=1, max_value=10_000)
    basis = forms.ChoiceField(required=False, choices=[("", ""), *BasisChoice.choices])
    happened = forms.BooleanField(required=False)


class MixQuestionForm(forms.Form):
    """A mix from figures alone; every strength says of what it is a percentage."""

    stock = PercentField(label=_("Stock, %"))
    stock_basis = forms.ChoiceField(label=_("Percent of what"), choices=[("", _("say of what")), *BasisChoice.choices])
    gravity = forms.DecimalField(
        label=_("Specific gravity"),
        required=False,
        max_digits=4,
        decimal_places=3,
        min_value=Decimal("0.7"),
        max_value=2,
        help_text=_("From the label or data sheet; a percentage by weight needs it."),
    )
    age_days = forms.IntegerField(
        label=_("Days since it came or was tested"),
        required=False,
        min_value=0,
        max_value=3_650,
        help_text=_("Hypochlorite fades. Empty: a strip of today said so."),
    )
    storage_f = forms.IntegerField(
        label=_("Kept at, F"), initial=75, min_value=COLDEST_F, max_value=WARMEST_F, required=False
    )
    target = PercentField(label=_("At the surface, %"))
    target_basis = forms.ChoiceField(
        label=_("Percent of what"), choices=[("", _("the same")), *BasisChoice.choices], required=False
    )
    volume = GallonsField(label=_("Gallons at the surface"), most=10_000)
    drawn = GallonsField(label=_("Gallons drawn from the jug in a minute"), most=100, required=False)
    out = GallonsField(
        label=_("Gallons out of the hose in the same minute"),
        most=100,
        required=False,
        help_text=_("Both empty: a batch without an injector."),
    )
    surface = forms.ChoiceField(label=_("On what"), choices=[("", "–"), *Surface.choices], required=False)

    @property
    def question(self) -> MixQuestion:
        """Raises CannotMix."""
        data = self.cleaned_data
        gravity, basis = data["gravity"], Basis(data["stock_basis"])
        stock = Strength(data["stock"], basis, None if gravity is None else int(gravity * 1000))
        drawn, out = data["drawn"], data["out"]
        return MixQuestion(
            stock=stock,
            target_basis_points=data["target"],
            target_basis=Basis(data["target_basis"] or basis),
            surface_ml=data["volume"],
            age_days=data["age_days"] or 0,
            storage_f=data["storage_f"] or 75,
            injector=Injector(drawn or 0, out or 0) if drawn or out else None,
        )


class RigForm(forms.Form):
    """What a truck washes with, in US gallons."""

    drawn_ml = GallonsField(
        label=_("Gallons drawn from the jug in one minute"),
        most=50,
        required=False,
        help_text=_("Measured with a bucket while the hose runs."),
    )
    out_ml = GallonsField(label=_("Gallons out of the hose in the same minute"), most=100, required=False)
    measured_on = forms.DateField(
        label=_("Measured on"), required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    flow_ml_per_minute = GallonsField(label=_("Machine, gallons a minute"), most=100, required=False)
    pressure_psi = forms.IntegerField(label=_("Machine, psi"), required=False, min_value=50, max_value=10_000)
    jug_ml = GallonsField(label=_("Gallons in one jug of stock"), most=500, required=False)
    eyewash_ml = GallonsField(label=_("Gallons of clean water for eyes and skin"), most=500, required=False)

    @staticmethod
    def initial_of(rig: Rig | None) -> dict[str, Any]:
        """The measured values as the fields show them."""
        if rig is None:
            return {}
        gallons = ("drawn_ml", "out_ml", "flow_ml_per_minute", "jug_ml", "eyewash_ml")
        known = {name: getattr(rig, name) for name in gallons}
        shown = {name: None if ml is None else round(ml / ML_PER_US_GALLON, 3) for name, ml in known.items()}
        return shown | {"measured_on": rig.measured_on, "pressure_psi": rig.pressure_psi}


class WeatherForm(forms.Form):
    """A day's weather, from whichever forecast the office trusts."""

    high_f = forms.IntegerField(label=_("Highest temperature, F"), min_value=-40, max_value=130)
    humidity_percent = forms.IntegerField(
        label=_("Humidity then, %"), min_value=0, max_value=100, help_text=_("Of the hottest hour.")
    )
    wind_mph = forms.IntegerField(label=_("Wind, miles an hour"), required=False, min_value=0, max_value=150)
    has_thunder = forms.BooleanField(label=_("Thunder is forecast"), required=False)


class TellingForm(forms.ModelForm):
    class Meta:
        model = TellingSettings
        fields = ("day_before", "from_hour", "on_our_way")
        labels = {
            "day_before": _("Write the day before"),
            "from_hour": _("From which hour"),
            "on_our_way": _("Crews may say that they are coming"),
        }
