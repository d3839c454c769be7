"""Two rows of one house become one.

The row that goes keeps what is never changed and points at it (walkthroughs, readings, who was held back) and says
which house it became (`joined_into`). Jobs, and with them visits and earnings, intervals, reminders, estimates and
walls go to the house that stays. A wall that both have stays behind and its readings are written anew for the wall of
the same name; so are the rows of those held back. Blanks are filled; what has no place goes into the note.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Manager, Model, QuerySet
from django.utils.translation import gettext as _

from jobs.chalking.models import WallForecast
from jobs.customers.domain.identity import same_address
from jobs.customers.models import Customer, OldPaint, Property, Wall
from jobs.reminders.models import DueHold, HeldBack, Reminder
from jobs.walkthroughs.models import ChalkReading
from jobs.work.choices import JobState
from jobs.work.models import Job, JobLine, ServiceInterval
from pricing.estimates.models import Estimate, EstimateLine
from shared.background.services import enqueue
from shared.events.services import event_record
from shared.outbox.dropping import messages_drop
from shared.outbox.models import Message, MessageState

_OVER = (JobState.DONE, JobState.DECLINED, JobState.CALLED_OFF)
_HOUSE_FACTS = ("city", "region", "postal_code", "year_built", "front_degrees", "gate_note", "pet_note")
_WALL_FACTS = ("colour", "lightness_percent", "facing_degrees", "area_sqft", "year_fitted")
_OF_A_READING = ("read_on", "reading", "method", "scale", "days_since_rain", "note", "read_by_id")


@dataclass(frozen=True)
class HouseJoin:
    """What joining `place` into `into` would do: how much moves there, which walls move, and which walls both have,
    each with the one that stays; `readings` counts those that are written anew for these."""

    place: Property
    into: Property
    jobs: int
    reminders: int
    walls: tuple[Wall, ...]
    same_walls: tuple[tuple[Wall, Wall], ...]
    readings: int

    def as_json(self) -> dict[str, Any]:
        return {
            "property": self.place.pk,
            "into": self.into.pk,
            "jobs": self.jobs,
            "reminders": self.reminders,
            "walls": [wall.pk for wall in self.walls],
            "walls_joined": [wall.pk for wall, _stays in self.same_walls],
            "readings": self.readings,
        }


def houses_of_both(keep: Customer, other: Customer) -> list[tuple[Property, Property]]:
    """Houses of the other one that are one of the customer's, however they are written, with that one."""
    mine = list(keep.properties.filter(joined_into__isnull=True).order_by("pk"))
    theirs = other.properties.filter(joined_into__isnull=True).order_by("street", "pk")
    return [(place, twin) for place in theirs if (twin := _same_house(place, mine))]


def _same_house(place: Property, known: Sequence[Property]) -> Property | None:
    exact = (each for each in known if (each.street, each.postal_code) == (place.street, place.postal_code))
    alike = (each for each in known if same_address(each, place))
    return next(exact, None) or next(alike, None)


def join_plan(place: Property, into: Property) -> HouseJoin:
    """What `house_join` would do. Reads only."""
    stays = {wall.name.strip().casefold(): wall for wall in into.walls.all()}
    walls = [(wall, stays.get(wall.name.strip().casefold())) for wall in place.walls.order_by("pk")]
    same = tuple((wall, twin) for wall, twin in walls if twin)
    return HouseJoin(
        place=place,
        into=into,
        jobs=place.jobs.count(),
        reminders=place.reminders.count(),
        walls=tuple(wall for wall, twin in walls if twin is None),
        same_walls=same,
        readings=ChalkReading.objects.filter(wall__in=[wall for wall, _twin in same]).count(),
    )


def join_obstacles(place: Property) -> Iterator[str]:
    """Work that is going on: what was found at the walls for it is looked up there until it is done, and a crew that
    is there works by the house that it was sent to."""
    jobs = Job.objects.filter(property=place).exclude(state__in=_OVER)
    for job in jobs.filter(state=JobState.ON_SITE).order_by("pk"):
        yield _(
            "At %(street)s a crew is at work on job %(job)s of the entry that would go. Wait until it is done, or keep "
            "that entry instead."
        ) % {"street": place.street, "job": job.pk}
    begun = jobs.filter(walkthroughs__isnull=False).exclude(state=JobState.ON_SITE).distinct()
    for job in begun.order_by("pk"):
        yield _(
            "At %(street)s somebody walked around the house for job %(job)s of the entry that would go, and the job is "
            "not done. Keep that entry instead, or wait until the job is done or called off."
        ) % {"street": place.street, "job": job.pk}


@transaction.atomic
def house_join(plan: HouseJoin, *, actor: Any, doubts: Sequence[str] = ()) -> None:
    """Do what the plan says, in the caller's transaction. `doubts`: against what somebody was sure, for the history."""
    place, into = plan.place, plan.into
    Job.objects.filter(property=place).update(property=into)
    Estimate.objects.filter(property_ref=place.pk).update(property_ref=into.pk)
    _move_intervals(place, into)
    _move_reminders(place, into)
    _keep_holds(place, into)
    for wall in plan.walls:
        wall.property = into
        wall.save(update_fields=["property"])
    for wall, stays in plan.same_walls:
        _join_wall(wall, stays)
    _rename_in_estimates(into, {wall.pk: stays.pk for wall, stays in plan.same_walls})
    _fill(into, place, _HOUSE_FACTS)
    _keep_place_and_notes(place, into)
    Property.objects.filter(joined_into=place).update(joined_into=into)
    Property.objects.filter(pk=place.pk).update(joined_into=into)
    event_record(kind="property.joined", subject=place, actor=actor, data={"into": into.pk, "doubts": list(doubts)})
    event_record(kind="property.took_over", subject=into, actor=actor, data=plan.as_json())
    enqueue("chalking.forecast_property", property_id=into.pk)


def waiting_reminders(**about: Any) -> QuerySet[Message]:
    """Messages of reminders that still wait, each once; `about` narrows as in a filter of messages."""
    return Message.objects.filter(state=MessageState.WAITING, reminders__isnull=False, **about).distinct()


def reminders_call_off(waiting: QuerySet[Message], *, why: str, now: datetime) -> None:
    """Drop those that wait, so that nobody hears twice; what they were about may be proposed again."""
    messages_drop(Message.objects.filter(pk__in=waiting.values("pk")), why=why, now=now)


def _move_intervals(place: Property, into: Property) -> None:
    """Of one service at both, the one that was done later counts; the other's visits stay in the history."""
    mine = {row.service_id: row for row in ServiceInterval.objects.filter(property=into)}
    for row in ServiceInterval.objects.filter(property=place):
        known = mine.get(row.service_id)
        if known is None:
            row.property = into
            row.save(update_fields=["property"])
            continue
        if row.last_done_on and (known.last_done_on is None or row.last_done_on > known.last_done_on):
            known.last_done_on, known.next_due_on = row.last_done_on, row.next_due_on
            known.save(update_fields=["last_done_on", "next_due_on"])
        row.delete()


def _move_reminders(place: Property, into: Property) -> None:
    """What was written about under both rows stays with the row under which it was written."""
    mine = set(Reminder.objects.filter(property=into).values_list("kind", "due_on"))
    for row in Reminder.objects.filter(property=place):
        if (row.kind, row.due_on) not in mine:
            row.property = into
            row.save(update_fields=["property"])


def _keep_holds(place: Property, into: Property) -> None:
    """The hold that lasts longer counts; whoever was held back stays so, as the same person."""
    hold, known = (DueHold.objects.filter(property=each).first() for each in (place, into))
    if hold and (known is None or (known.until and (hold.until is None or hold.until > known.until))):
        DueHold.objects.filter(property=into).delete()
        hold.property = into
        hold.save(update_fields=["property"])
    mine = set(HeldBack.objects.filter(property=into).values_list("kind", "due_on"))
    for row in HeldBack.objects.filter(property=place).order_by("pk"):
        if (row.kind, row.due_on) not in mine:
            HeldBack.objects.create(
                property=into, kind=row.kind, due_on=row.due_on, message_key=row.message_key, at=row.at, by=row.by
            )  # fmt: skip


def _join_wall(wall: Wall, stays: Wall) -> None:
    known = set(ChalkReading.objects.filter(wall=stays).values_list(*_OF_A_READING))
    for values in ChalkReading.objects.filter(wall=wall).order_by("read_on", "pk").values_list(*_OF_A_READING):
        if values not in known:
            ChalkReading.objects.create(wall=stays, **dict(zip(_OF_A_READING, values, strict=True)))
    WallForecast.objects.filter(wall=wall).delete()
    _name_other_wall(JobLine.walls.through.objects, "jobline", wall, stays)
    _name_other_wall(Reminder.walls.through.objects, "reminder", wall, stays)
    _fill(stays, wall, _WALL_FACTS)
    if stays.old_paint == OldPaint.UNKNOWN and wall.old_paint != OldPaint.UNKNOWN:
        stays.old_paint = wall.old_paint
        stays.save(update_fields=["old_paint"])


def _name_other_wall(links: Manager[Any], owner: str, wall: Wall, stays: Wall) -> None:
    """What names `wall` names `stays`, once: it may name another wall that became that one before."""
    mine = links.filter(wall=wall)
    there = set(links.filter(wall=stays).values_list(owner, flat=True))
    mine.filter(**{f"{owner}__in": there}).delete()
    mine.update(wall=stays)


def _rename_in_estimates(into: Property, numbers: Mapping[int, int]) -> None:
    for line in EstimateLine.objects.filter(estimate__property_ref=into.pk) if numbers else ():
        renamed = list(dict.fromkeys(numbers.get(number, number) for number in line.wall_refs))
        if renamed != line.wall_refs:
            line.wall_refs = renamed
            line.save(update_fields=["wall_refs"])


def _fill(stays: Model, goes: Model, names: Sequence[str]) -> None:
    """Take what is not known of the one from the other."""
    blank = [name for name in names if getattr(stays, name) in (None, "") and getattr(goes, name) not in (None, "")]
    for name in blank:
        setattr(stays, name, getattr(goes, name))
    if blank:
        stays.save(update_fields=blank)


def _keep_place_and_notes(place: Property, into: Property) -> None:
    if not into.has_place:
        into.latitude, into.longitude = place.latitude, place.longitude
    into.note = "\n".join(filter(None, (into.note.strip(), *noted(place, into))))
    into.save(update_fields=["latitude", "longitude", "note"])


def noted(place: Property, into: Property) -> Iterator[str]:
    """What the row that goes says and the other has no place for."""
    for words, name in (
        (_("Gate: %(value)s"), "gate_note"),
        (_("Pets: %(value)s"), "pet_note"),
        (_("Also has the reference %(value)s."), "reference"),
    ):
        value = getattr(place, name)
        if value and value != getattr(into, name):
            yield words % {"value": value}
    if place.note.strip() and place.note.strip() not in into.note:
        yield place.note.strip()
