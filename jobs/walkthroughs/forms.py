from decimal import Decimal
from typing import Any

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from jobs.customers.models import Property
from jobs.walkthroughs.domain import MOST_SPOTS, STEP, STEPS, step_text
from jobs.walkthroughs.inputs import FindingInput, WallInput
from jobs.walkthroughs.models import FindingKind, SentHow


def _decimal(value: Any) -> Decimal | None:
    return Decimal(value) if value else None


class ReadingForm(forms.Form):
    """One reading by finger test on our field scale."""

    reading = forms.TypedChoiceField(
        label=_("Chalk, 0 none to 5 worst"),
        choices=[("", "–"), *((step_text(step), step_text(step)) for step in STEPS)],
        coerce=_decimal,
    )
    read_on = forms.DateField(label=_("Day"), widget=forms.DateInput(attrs={"type": "date"}))
    days_since_rain = forms.IntegerField(
        label=_("Days since rain"), required=False, min_value=0, max_value=365, help_text=_("Rain washes chalk off.")
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=200)


class WalkthroughForm(forms.Form):
    """What a walkthrough says beside spots and findings, which `spots_of` and `findings_of` read."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    days_since_rain = forms.IntegerField(label=_("Days since rain"), required=False, min_value=0, max_value=365)
    note = forms.CharField(label=_("Note"), required=False, max_length=500)
    video_url = forms.CharField(
        label=_("Link to a short video"), required=False, max_length=300, help_text=_("Begins with https://")
    )


class AcknowledgeForm(forms.Form):
    language = forms.ChoiceField(choices=settings.LANGUAGES, widget=forms.HiddenInput)
    typed_name = forms.CharField(
        label=_("Your name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )


class NobodyHomeForm(forms.Form):
    sent_how = forms.ChoiceField(label=_("How the notice goes to the homeowner"), choices=SentHow.choices)
    note = forms.CharField(label=_("Note"), required=False, max_length=200)


class OverrideForm(forms.Form):
    reason = forms.CharField(label=_("Why it may start"), max_length=200)


def walls_of(place: Property) -> list[tuple[str, str]]:
    """Names of the fields of each wall, and the wall's name. A house without walls gets its four sides."""
    walls = [(f"w{wall.pk}", wall.name) for wall in place.walls.order_by("pk")]
    sides = (_("front wall"), _("right wall"), _("back wall"), _("left wall"))
    return walls or [(f"n{number}", str(name)) for number, name in enumerate(sides)]


def spots_of(data: Any, place: Property) -> tuple[WallInput, ...]:
    """The spots that were pressed, by wall; walls without any are left out."""
    found = []
    for field, name in walls_of(place):
        spots = [_spot(data, f"{field}_{number}") for number in range(MOST_SPOTS)]
        given = tuple(spot for spot in spots if spot is not None)
        if given:
            wall_id = int(field[1:]) if field[0] == "w" else None
            found.append(WallInput(spots=given, wall_id=wall_id, name="" if wall_id else name))
    return tuple(found)


def _spot(data: Any, field: str) -> Decimal | None:
    grade = data.get(field, "")
    if grade not in ("0", "1", "2", "3", "4", "5"):
        return None
    half = STEP if data.get(f"{field}_half") and grade != "5" else Decimal(0)
    return Decimal(grade) + half


def findings_of(data: Any) -> tuple[FindingInput, ...]:
    """The findings that were ticked."""
    found = []
    for kind in FindingKind.values:
        if data.get(f"f_{kind}"):
            wall = data.get(f"f_{kind}_wall", "")
            note = data.get(f"f_{kind}_note", "").strip()[:200]
            found.append(FindingInput(kind=kind, note=note, wall_id=int(wall) if wall.isdecimal() else None))
    return tuple(found)
