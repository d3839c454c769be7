"""The pins of the list of walls: one for each property of a page, numbered like its first line."""

from collections.abc import Sequence
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.chalking.domain.verdict import Verdict
from shared.web.maps import Mark, Shape

NOW = (Verdict.AT_LIMIT, Verdict.HAS_PASSED, Verdict.PROBABLY_PASSED)


def marks_of(rows: Sequence[dict[str, Any]]) -> list[Mark]:
    """`rows` as the page lists them: `row`, `number` and what `words.forecast_facts` says. Properties without a place
    have no pin."""
    by_place: dict[int, list[dict[str, Any]]] = {}
    for line in rows:
        by_place.setdefault(line["row"].wall.property_id, []).append(line)
    return [_mark(mine) for mine in by_place.values() if mine[0]["row"].wall.property.has_place]


def _mark(mine: Sequence[dict[str, Any]]) -> Mark:
    place = mine[0]["row"].wall.property
    shape, legend = _kind(mine)
    return Mark(
        place.latitude,
        place.longitude,
        title=f"{place.customer.name}, {place.street}",
        text=str(mine[0]["number"]),
        note="; ".join(_note(line) for line in mine),
        href=reverse("customers:property_page", args=[place.pk]),
        shape=shape,
        legend=legend,
    )


def _note(line: dict[str, Any]) -> str:
    said = f"{line['row'].wall.name}: {line['verdict_words']}"
    return _("%(said)s (never tested)") % {"said": said} if line["row"].is_untested else said


def _kind(mine: Sequence[dict[str, Any]]) -> tuple[Shape, str]:
    """What was read goes before what is told of walls like an untested one."""
    tested = {line["verdict"] for line in mine if not line["row"].is_untested}
    if tested & set(NOW):
        return Shape.STOP, _("at the limit or past it")
    if tested:
        return Shape.PLACE, _("not at the limit yet")
    return Shape.GUESS, _("only walls that nobody has tested")
