"""What changed between two versions, in the reader's words."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from routing.plans.selectors.hours import wall_minute
from shared.web.words import clock_words

SENTENCES = {
    "added": gettext_lazy("New: %(label)s at %(after)s."),
    "from_crew": gettext_lazy("New, from crew %(other)s: %(label)s at %(after)s."),
    "taken_out": gettext_lazy("No longer on the route: %(label)s."),
    "to_crew": gettext_lazy("Goes to crew %(other)s: %(label)s."),
    "order": gettext_lazy("New order: %(label)s."),
    "time": gettext_lazy("%(label)s at %(after)s, not %(before)s."),
    "leave": gettext_lazy("Leave at %(after)s, not %(before)s."),
}


def change_words(change: Mapping[str, Any], *, day: date, zone: str) -> str:
    """One change of a sent plan as a sentence; times as the clocks of `zone` show them on `day`."""
    return str(SENTENCES[change["kind"]]) % {
        "label": change["label"],
        "other": change["other_crew"],
        "before": _clock(change["before_minute"], day, zone),
        "after": _clock(change["after_minute"], day, zone),
    }


def changes_by_crew(changes: Sequence[Mapping[str, Any]], *, day: date, zone: str) -> dict[str, list[str]]:
    """The sentences of a version, by crew code."""
    found: dict[str, list[str]] = {}
    for change in changes:
        found.setdefault(change["crew"], []).append(change_words(change, day=day, zone=zone))
    return found


def _clock(minute: int | None, day: date, zone: str) -> str:
    return "" if minute is None else clock_words(wall_minute(day, minute, zone))


def version_words(number: int) -> str:
    """How a version is called on pages and sheets."""
    return _("version %(number)s") % {"number": number}
