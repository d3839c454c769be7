"""The buttons of the crew's walkthrough, each with its field and whether it was pressed before the form came back:
the template only draws them."""

from collections.abc import Iterable
from typing import Any

from django.http import QueryDict
from django.utils.translation import pgettext

from jobs.customers.models import Property
from jobs.walkthroughs.forms import ELSEWHERE, FormWall, walls_of
from jobs.walkthroughs.models import FindingKind, LeftOutReason
from jobs.walkthroughs.notice_words import scale_words

GRADES = range(6)
RAIN = [*((str(days), str(days)) for days in range(7)), ("7", "7+")]


def buttons_of(place: Property, pressed: QueryDict) -> dict[str, Any]:
    """What the template draws for a house. The front's direction is asked where no wall could get its facing else."""
    walls = walls_of(place)
    asks_front = place.front_degrees is None and not place.walls.exists()
    return {
        "walls": [_wall(wall, pressed) for wall in walls if not wall.is_part],
        "parts": [_wall(wall, pressed) for wall in walls if wall.is_part],
        "elsewhere": {"field": ELSEWHERE, "kinds": _kinds(ELSEWHERE, pressed)},
        "rain": _choices("days_since_rain", RAIN, pressed),
        "front": _choices("front_degrees", _compass(), pressed) if asks_front else [],
        "scale": [(grade, scale_words(grade)) for grade in GRADES],
    }


def _compass() -> list[tuple[str, str]]:
    points = (
        pgettext("compass", "N"), pgettext("compass", "NE"), pgettext("compass", "E"), pgettext("compass", "SE"),
        pgettext("compass", "S"), pgettext("compass", "SW"), pgettext("compass", "W"), pgettext("compass", "NW"),
    )  # fmt: skip
    return [(str(45 * eighth), point) for eighth, point in enumerate(points)]


def _wall(wall: FormWall, pressed: QueryDict) -> dict[str, Any]:
    return {
        "field": wall.field,
        "name": wall.name,
        "label": wall.label,
        "is_needed": wall.is_needed,
        "spots": [_spot(f"{wall.field}_{number}", words, pressed) for number, words in enumerate(_heights())],
        "reasons": _choices(f"{wall.field}_out", LeftOutReason.choices, pressed),
        "kinds": _kinds(wall.field, pressed),
    }


def _heights() -> tuple[str, str, str]:
    """As many spots as are tested at least."""
    return pgettext("spot", "High"), pgettext("spot", "Middle"), pgettext("spot", "Low")


def _spot(name: str, words: str, pressed: QueryDict) -> dict[str, Any]:
    grades = _choices(name, [(str(grade), str(grade)) for grade in GRADES], pressed)
    return {"name": name, "words": words, "grades": grades, "half": bool(pressed.get(f"{name}_half"))}


def _choices(name: str, choices: Iterable[tuple[Any, Any]], pressed: QueryDict) -> list[dict[str, Any]]:
    return [
        {"name": name, "value": value, "label": label, "is_pressed": pressed.get(name) == value}
        for value, label in choices
    ]


def _kinds(field: str, pressed: QueryDict) -> list[dict[str, Any]]:
    return [
        {
            "name": f"{field}_f_{kind}",
            "kind": kind,
            "label": label,
            "is_pressed": bool(pressed.get(f"{field}_f_{kind}")),
            "note": pressed.get(f"{field}_f_{kind}_note", ""),
        }
        for kind, label in FindingKind.choices
    ]
