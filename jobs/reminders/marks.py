"""The pins of the due list: one for each property of a page, numbered like its lines."""

from collections.abc import Sequence

from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.reminders.selectors import DueItem
from shared.web.maps import Mark, Shape

Numbered = tuple[int, DueItem]


def marks_of(lines: Sequence[DueItem], *, first: int = 1) -> list[Mark]:
    """A pin for each property that has a place; it leads to the first of its lines, which are numbered from `first`."""
    by_place: dict[int, list[Numbered]] = {}
    for number, item in enumerate(lines, first):
        by_place.setdefault(item.property_id, []).append((number, item))
    return [_mark(mine) for mine in by_place.values() if mine[0][1].place]


def _mark(mine: Sequence[Numbered]) -> Mark:
    number, item = mine[0]
    latitude, longitude = item.place or (0.0, 0.0)
    is_ready = any(each.is_ready for _number, each in mine)
    return Mark(
        latitude,
        longitude,
        title=f"{item.customer_name}, {item.street}",
        text=str(number),
        note="; ".join(each.reason for _number, each in mine),
        href=reverse("customers:property_page", args=[item.property_id]),
        shape=Shape.STOP if is_ready else Shape.PLACE,
        legend=_("may be reminded now") if is_ready else _("not now"),
    )
