from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from pricing.catalogue.models import Service
from pricing.estimates.choices import EstimateState, SentBy
from pricing.estimates.inputs import EstimateChange, LineChange, OptionChange, PlaceFacts, WallFacts, WantedLine
from pricing.minutes.choices import AccessLevel, SoilLevel
from shared.web.forms import MoneyField, PercentField


def day_field(**kwargs: Any) -> forms.DateField:
    return forms.DateField(widget=forms.DateInput(attrs={"type": "date"}), **kwargs)


class EstimateFilterForm(forms.Form):
    state = forms.ChoiceField(
        label=_("State"),
        required=False,
        choices=[
            ("", _("any")), ("ending", _("ends soon")), ("over", _("ended without an answer")), *EstimateState.choices
        ],
    )  # fmt: skip
    words = forms.CharField(label=_("Name or street"), required=False, max_length=80)


class WantedForm(forms.Form):
    """One service to reckon; a line without a service is not used."""

    service = forms.ModelChoiceField(label=_("Service"), queryset=Service.objects.none(), required=False)
    quantity = forms.IntegerField(label=_("How much"), required=False, min_value=1, max_value=1_000_000)
    separately = forms.BooleanField(label=_("offered separately"), required=False)
    walls = forms.MultipleChoiceField(label=_("Walls"), required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args: Any, walls: Sequence[WallFacts] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.known_walls = {str(wall.wall_ref): wall for wall in walls}
        self.fields["service"].queryset = Service.objects.filter(is_offered=True)  # type: ignore[attr-defined]
        self.fields["walls"].choices = [  # type: ignore[attr-defined]
            (ref, _wall_label(wall)) for ref, wall in self.known_walls.items()
        ]

    @property
    def wanted(self) -> WantedLine | None:
        data = self.cleaned_data
        if not data.get("service"):
            return None
        walls = tuple(self.known_walls[ref] for ref in data["walls"])
        return WantedLine(data["service"], data["quantity"], walls, data["separately"])


def _wall_label(wall: WallFacts) -> str:
    parts = [wall.name, f"{wall.area_sqft:,} sq ft" if wall.area_sqft else ""]
    parts.append(str(_("chalk %(reading)s") % {"reading": f"{wall.chalk:g}"}) if wall.chalk is not None else "")
    return ", ".join(part for part in parts if part)


WantedFormSet = forms.formset_factory(WantedForm, extra=2, max_num=10, absolute_max=12)


def wanted_formset(facts: PlaceFacts, *, data: Any = None, suggested: Sequence[WantedLine] = ()) -> Any:
    """The lines of a new estimate: what was posted, or what is suggested."""
    initial = [
        {
            "service": line.service.pk,
            "quantity": line.quantity,
            "separately": line.separately,
            "walls": [str(wall.wall_ref) for wall in line.walls],
        }
        for line in suggested
    ]
    return WantedFormSet(data, prefix="lines", initial=initial, form_kwargs={"walls": facts.walls})


class NewEstimateForm(forms.Form):
    """The rest of a new estimate; access and soil left out are as they were said before."""

    access = forms.ChoiceField(label=_("Access"), choices=AccessLevel.choices, required=False)
    soil = forms.ChoiceField(label=_("Soil"), choices=SoilLevel.choices, required=False)
    valid_until = day_field(label=_("Good until"), required=False, help_text=_("Empty: thirty days"))
    tax_millionths = PercentField(
        label=_("Tax, percent"),
        required=False,
        help_text=_("As entered for this day on the rates page. Empty: no tax is reckoned, and the estimate says so"),
    )
    note = forms.CharField(
        label=_("A word to the homeowner"),
        required=False,
        max_length=1_000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class LineChangeForm(forms.Form):
    line_id = forms.IntegerField(widget=forms.HiddenInput)
    minutes = forms.IntegerField(label=_("Minutes"), min_value=1, max_value=6_000)
    materials_cents = MoneyField(label=_("Materials"))
    price_cents = MoneyField(label=_("Price"))


class OptionChangeForm(forms.Form):
    option_id = forms.IntegerField(widget=forms.HiddenInput)
    name = forms.CharField(label=_("Name"), required=False, max_length=80, help_text=_("Empty: its services"))
    discount_cents = MoneyField(label=_("Discount"))


LineChangeFormSet = forms.formset_factory(LineChangeForm, extra=0, max_num=20, absolute_max=20)
OptionChangeFormSet = forms.formset_factory(OptionChangeForm, extra=0, max_num=20, absolute_max=20)


class ChangeForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)
    drive_minutes = forms.IntegerField(label=_("Share of driving, minutes"), min_value=0, max_value=1_000)
    valid_until = day_field(label=_("Good until"))
    tax_millionths = PercentField(label=_("Tax, percent"), required=False)
    note = forms.CharField(
        label=_("A word to the homeowner"), required=False, max_length=1_000, widget=forms.Textarea(attrs={"rows": 2})
    )
    reason = forms.CharField(label=_("Why"), max_length=200)


def change_of(form: ChangeForm, lines: Any, options: Any) -> EstimateChange:
    """What three valid forms say."""
    data = form.cleaned_data
    return EstimateChange(
        lines=[LineChange(**line.cleaned_data) for line in lines],
        options=[OptionChange(**option.cleaned_data) for option in options],
        drive_minutes=data["drive_minutes"],
        valid_until=data["valid_until"],
        note=data["note"].strip(),
        sets_tax=True,
        tax_millionths=data["tax_millionths"],
    )


class SendForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)
    sent_how = forms.ChoiceField(label=_("How it goes to the homeowner"), choices=SentBy.choices)


class TakeBackForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(label=_("Why"), max_length=200)


class ToldForm(forms.Form):
    """An answer that the customer gave the office, by telephone or at the door."""

    answer = forms.ChoiceField(label=_("The answer"))
    typed_name = forms.CharField(label=_("Who said so"), max_length=120)
    reason = forms.CharField(label=_("Their reason, if no"), required=False, max_length=200)

    def __init__(self, *args: Any, choices: Sequence[Any] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["answer"].choices = [  # type: ignore[attr-defined]
            *((str(row["position"]), f"{row['name']}, {row['total']}") for row in choices), ("no", _("No"))
        ]  # fmt: skip


class AcceptForm(forms.Form):
    """The homeowner's yes: one option and a name."""

    option = forms.TypedChoiceField(label=_("Your choice"), widget=forms.RadioSelect, coerce=int)
    typed_name = forms.CharField(
        label=_("Your name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )

    def __init__(self, *args: Any, choices: Sequence[Any] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["option"].choices = [  # type: ignore[attr-defined]
            (str(row["position"]), f"{row['name']}: {row['total']}") for row in choices
        ]
        if len(choices) == 1:
            self.fields["option"].initial = str(choices[0]["position"])


class DeclineForm(forms.Form):
    declined_name = forms.CharField(
        label=_("Your name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    reason = forms.CharField(label=_("Why not, if you like to say"), required=False, max_length=300)
