from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from jobs.customers.models import Property
from jobs.walkthroughs.domain import MOST_SPOTS, STEP, STEPS, step_text
from jobs.walkthroughs.inputs import PARTS, SIDES, FindingInput, LeftOutInput, WallInput
from jobs.walkthroughs.models import FindingKind, SentHow
from jobs.walkthroughs.selectors.walls import UNCHALKED
from jobs.walkthroughs.words import wall_name

ELSEWHERE = "x"  # the beginning of the fields' names of what belongs to no wall


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
    """What a walkthrough says beside its walls and findings, which the functions below read."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    days_since_rain = forms.IntegerField(label=_("Days since rain"), required=False, min_value=0, max_value=365)
    front_degrees = forms.IntegerField(required=False, min_value=0, max_value=359)
    note = forms.CharField(label=_("Note"), required=False, max_length=500)
    video_url = forms.CharField(
        label=_("Link to a short video"), required=False, max_length=300, help_text=_("Begins with https://")
    )


class AcknowledgeForm(forms.Form):
    language = forms.ChoiceField(choices=settings.LANGUAGES, widget=forms.HiddenInput)
    typed_name = forms.CharField(
        label=_("Your name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    wants_removal = forms.BooleanField(
        label=_("Please send me a price for taking the chalk off. This is no order."), required=False
    )


class NobodyHomeForm(forms.Form):
    sent_how = forms.ChoiceField(label=_("How the notice goes to the homeowner"), choices=SentHow.choices)
    language = forms.ChoiceField(
        label=_("Language of the message"), required=False, choices=[("", _("the customer's")), *settings.LANGUAGES]
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=200)


class OverrideForm(forms.Form):
    reason = forms.CharField(label=_("Why it may start"), max_length=200)


@dataclass(frozen=True, slots=True)
class FormWall:
    """A wall on the form: the beginning of its fields' names, its id or, for one that nobody took down yet, its name.

    `is_needed`: it is tested or left out with a reason. `is_part`: something that may be there besides the walls.
    """

    field: str
    name: str
    wall_id: int | None = None
    is_needed: bool = True
    is_part: bool = False

    @property
    def label(self) -> str:
        return wall_name(self.name)


def walls_of(place: Property) -> list[FormWall]:
    """The walls of a house, its four sides where nobody took any down; last the parts that may be there besides."""
    known = list(place.walls.order_by("pk"))
    walls = [
        FormWall(f"w{wall.pk}", wall.name, wall.pk, is_needed=wall.material not in UNCHALKED) for wall in known
    ] or [FormWall(f"n{number}", name) for number, name in enumerate(SIDES)]
    kinds = {wall.kind for wall in known}
    parts = [
        FormWall(f"p{number}", name, is_needed=False, is_part=True)
        for number, (name, kind) in enumerate(PARTS.items())
        if kind not in kinds
    ]
    return walls + parts


def _named(wall: FormWall) -> dict[str, Any]:
    return {"wall_id": wall.wall_id, "name": "" if wall.wall_id else wall.name}


def spots_of(data: Any, place: Property) -> tuple[WallInput, ...]:
    """The spots that were pressed, by wall; walls without any are not there."""
    found = []
    for wall in walls_of(place):
        spots = [_spot(data, f"{wall.field}_{number}") for number in range(MOST_SPOTS)]
        given = tuple(spot for spot in spots if spot is not None)
        if given:
            found.append(WallInput(spots=given, **_named(wall)))
    return tuple(found)


def _spot(data: Any, field: str) -> Decimal | None:
    grade = data.get(field, "")
    if grade not in ("0", "1", "2", "3", "4", "5"):
        return None
    half = STEP if data.get(f"{field}_half") and grade != "5" else Decimal(0)
    return Decimal(grade) + half


def left_out_of(data: Any, place: Property, tested: Sequence[WallInput]) -> tuple[LeftOutInput, ...]:
    """The walls that were left out with a reason; spots count for more than a reason."""
    done = {(wall.wall_id, wall.name) for wall in tested}
    given = [(wall, data.get(f"{wall.field}_out", "")) for wall in walls_of(place)]
    rows = [LeftOutInput(reason=reason, **_named(wall)) for wall, reason in given if reason]
    return tuple(row for row in rows if (row.wall_id, row.name) not in done)


def findings_of(data: Any, place: Property) -> tuple[FindingInput, ...]:
    """The findings that were ticked, by wall, then those of no wall."""
    places = [(wall.field, _named(wall)) for wall in walls_of(place)] + [(ELSEWHERE, {})]
    return tuple(
        FindingInput(kind=kind, note=data.get(f"{field}_f_{kind}_note", "").strip()[:200], **named)
        for field, named in places
        for kind in FindingKind.values
        if data.get(f"{field}_f_{kind}")
    )


def photos_of(files: Any, place: Property) -> list[tuple[dict[str, Any], Any]]:
    """The pictures that were chosen, each with the wall that it belongs to as `photo_add` takes it."""
    chosen: list[tuple[dict[str, Any], Any]] = []
    for wall in walls_of(place):
        named = {"wall_id": wall.wall_id, "wall_name": "" if wall.wall_id else wall.name}
        chosen += [(named, file) for file in files.getlist(f"{wall.field}_photos")]
    return chosen + [({}, file) for file in files.getlist(f"{ELSEWHERE}_photos")]
