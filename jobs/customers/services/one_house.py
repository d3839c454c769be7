"""One house that was entered twice for the same customer becomes one.

What happens to the two rows is joining.py's, as where two customers become one. Here somebody says that it is one
house: that needs saying twice where the entries look like two, and reminders that wait for the entry that goes are
called off, so that the customer does not hear of the same house twice.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.customers.domain.houses import Doubt, doubts
from jobs.customers.models import Customer, Property
from jobs.customers.selectors import house_of
from shared.errors import Conflict, Refused

from .joining import HouseJoin, house_join, join_obstacles, join_plan, noted, reminders_call_off, waiting_reminders


@dataclass(frozen=True)
class OneHousePlan:
    """What making one of two entries would do (`join`); nothing of it where `obstacles` says why not, and only for
    somebody who is sure where `doubts` speaks for two houses. `noted` goes into the note of the entry that stays;
    `called_off` counts the reminders that wait for the one that goes."""

    join: HouseJoin
    obstacles: tuple[str, ...]
    doubts: tuple[Doubt, ...]
    noted: tuple[str, ...]
    called_off: int

    @property
    def keep(self) -> Property:
        return self.join.into

    @property
    def other(self) -> Property:
        return self.join.place

    @property
    def doubt_words(self) -> list[str]:
        return [_doubt_words(doubt, self.keep, self.other) for doubt in self.doubts]

    def as_json(self) -> dict[str, Any]:
        return {
            **self.join.as_json(),
            "obstacles": list(self.obstacles),
            "doubts": list(self.doubts),
            "noted": list(self.noted),
            "called_off": self.called_off,
        }


def one_house_plan(*, keep: Property, other: Property) -> OneHousePlan:
    """What `one_house` would do. Reads only."""
    return OneHousePlan(
        join=join_plan(other, keep),
        obstacles=tuple(_obstacles(keep, other)),
        doubts=doubts(house_of(keep), house_of(other)),
        noted=tuple(noted(other, keep)),
        called_off=waiting_reminders(reminders__property=other).count(),
    )


@transaction.atomic
def one_house(*, keep: Property, other: Property, sure: bool, actor: Any, now: datetime) -> OneHousePlan:
    """Make one of two entries of a customer's house: `other` goes, `keep` has the history of both. Returns what was
    done; who did it, when, and against which doubts is in the history of both rows. It cannot be taken back.

    Raises Refused, naming every obstacle, or every doubt where nobody is `sure`; Conflict where one of the two is not
    there any more.
    """
    keep, other = _locked(keep, other)
    plan = one_house_plan(keep=keep, other=other)
    if plan.obstacles:
        raise Refused(" ".join(plan.obstacles))
    if plan.doubts and not sure:
        advice = _("Nothing was changed. Say that you are sure where it is one house all the same.")
        raise Refused(" ".join((*plan.doubt_words, advice)))
    why = _("Its house was entered twice and is one now.")
    reminders_call_off(waiting_reminders(reminders__property=other), why=why, now=now)
    house_join(plan.join, actor=actor, doubts=plan.doubts)
    return plan


def _locked(keep: Property, other: Property) -> tuple[Property, Property]:
    """Both rows as they are now. Their customers are held first, as where reminders are written or customers merged."""
    owners = sorted({keep.customer_id, other.customer_id})
    list(Customer.objects.select_for_update().filter(pk__in=owners).order_by("pk"))
    numbers = {keep.pk, other.pk}
    rows = {row.pk: row for row in Property.objects.select_for_update().filter(pk__in=numbers).order_by("pk")}
    if len(rows) < len(numbers):
        raise Conflict(_("One of the two is not there any more."))
    return rows[keep.pk], rows[other.pk]


def _obstacles(keep: Property, other: Property) -> Iterator[str]:
    if keep.pk == other.pk:
        yield _("This is one and the same entry.")
        return
    for place in (keep, other):
        if place.joined_into_id:
            yield _("%(street)s was joined with another entry already.") % {"street": place.street}
    if keep.customer_id != other.customer_id:
        yield _("The two houses are of two customers. Make one of the customers first.")
    yield from join_obstacles(other)


def _doubt_words(doubt: Doubt, keep: Property, other: Property) -> str:
    texts = {
        Doubt.NUMBER: _("The house numbers differ: %(one)s, %(two)s."),
        Doubt.STREET: _("The streets differ: %(one)s, %(two)s."),
        Doubt.TOWN: _("Town or ZIP code differ: %(one)s, %(two)s."),
        Doubt.FAR: _("Their places on the map are too far apart for one house: %(one)s, %(two)s."),
    }
    return texts[doubt] % {"one": keep.address, "two": other.address}
