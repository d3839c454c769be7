"""The due list weighed against the crews' free hours: who should hear now, who waits, and why, in words."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Count, Exists, ExpressionWrapper, F, OuterRef, Q
from django.db.models.fields import DateTimeField
from django.utils.translation import gettext as _

from jobs.customers.models import Property
from jobs.reminders.domain.choosing import Asked, Person, Proposal, ResponseRate, propose
from jobs.reminders.domain.due import CHALK
from jobs.reminders.domain.gain import ANSWERED_WITHIN
from jobs.reminders.models import Reminder, ReminderAnswer
from jobs.reminders.selectors import COUNTS_AS_CONTACT, DueItem, due_list
from jobs.work.models import Job, VisitLine
from shared.outbox.models import MessageState
from shared.web.words import miles_words

UNKNOWN_MINUTES = 120
NEAR_METRES = 1_000
Nearest = Callable[[Sequence[Property]], Mapping[int, int]]
"""From properties to the metres to the nearest stop of the coming weeks, for those where a crew goes."""


@dataclass(frozen=True)
class ProposedItem:
    """A line of the proposal: the due item, the crew-minutes that a yes takes, the chance of one, and why."""

    item: DueItem
    minutes: int
    chance: float
    why: str


@dataclass(frozen=True)
class DueProposal:
    """`room_minutes`: free crew-minutes of the coming weeks; `pending_minutes`: expected of those who were asked before
    and may still answer; the rest is what the chosen are expected to bring."""

    room_minutes: int
    pending_minutes: float
    expected_minutes: float
    overflow: float
    chosen: tuple[ProposedItem, ...]
    waiting: tuple[ProposedItem, ...]
    rates: Mapping[tuple[str, str], ResponseRate]


def due_proposal(
    *, today: date, now: datetime, room_minutes: int, later_room_minutes: int = 0, nearest: Nearest
) -> DueProposal:
    """Weigh everything that may be reminded now against the room of the weeks to fill, and of the one after. Reads
    only."""
    ready = [item for item in due_list(today=today) if item.is_ready]
    places = Property.objects.in_bulk({item.property_id for item in ready})
    rates, unanswered = response_rates(now=now), _unanswered(now)
    usual = usual_minutes([*_things(ready), *((place, kind) for place, kind, _channel, _at in unanswered)])
    near = nearest(list(places.values()))
    people = [_person(item, usual[item.property_id, item.kind], near.get(item.property_id), today) for item in ready]
    asked = [Asked((kind, channel), usual[place, kind], (now - at).days) for place, kind, channel, at in unanswered]
    found = propose(people, rates, room_minutes=room_minutes, later_room_minutes=later_room_minutes, asked=asked)
    by_key = {person.key: (item, person) for item, person in zip(ready, people, strict=True)}
    return DueProposal(
        room_minutes=room_minutes,
        pending_minutes=found.pending_minutes,
        expected_minutes=found.expected_minutes,
        overflow=found.overflow,
        chosen=tuple(_line(*by_key[key], rates, _why_now(by_key[key][1])) for key in found.chosen),
        waiting=tuple(_line(*by_key[key], rates, _why_later(found, room_minutes)) for key in found.waiting),
        rates=rates,
    )


def response_rates(*, now: datetime) -> dict[tuple[str, str], ResponseRate]:
    """By kind and channel: of the reminders that were sent and had time to be answered, how many brought a job."""
    ends = ExpressionWrapper(OuterRef("created_at") + ANSWERED_WITHIN, output_field=DateTimeField())
    came = Job.objects.filter(
        property=OuterRef("property"), created_at__gte=OuterRef("created_at"), created_at__lte=ends
    )
    sent = Reminder.objects.filter(message__state=MessageState.SENT, created_at__lte=now - ANSWERED_WITHIN)
    counted = (
        sent.annotate(channel=F("message__channel"), came=Exists(came))
        .order_by()
        .values("kind", "channel")
        .annotate(asked=Count("pk"), yes=Count("pk", filter=Q(came=True)))
    )
    return {(row["kind"], row["channel"]): ResponseRate(row["yes"], row["asked"]) for row in counted}


def proposal_json(found: DueProposal) -> dict[str, Any]:
    """As the command and the API give it."""
    return {
        "room_minutes": found.room_minutes,
        "pending_minutes": round(found.pending_minutes),
        "expected_minutes": round(found.expected_minutes),
        "overflow_percent": round(100 * found.overflow, 1),
        "chosen": [_json(line) for line in found.chosen],
        "waiting": [_json(line) for line in found.waiting],
    }


def _json(line: ProposedItem) -> dict[str, Any]:
    return {"key": line.item.key, "minutes": line.minutes, "chance_percent": round(100 * line.chance), "why": line.why}


def _things(items: Sequence[DueItem]) -> list[tuple[int, str]]:
    return [(item.property_id, item.kind) for item in items]


def _unanswered(now: datetime) -> list[tuple[int, str, str, datetime]]:
    """Property, kind, channel and instant of each reminder that may still bring a job: nobody answered it, and no job
    was taken down at the property since."""
    said = ReminderAnswer.objects.filter(customer=OuterRef("property__customer"), at__gte=OuterRef("created_at"))
    came = Job.objects.filter(property=OuterRef("property"), created_at__gte=OuterRef("created_at"))
    open_still = Reminder.objects.filter(
        ~Exists(said), ~Exists(came), message__state__in=COUNTS_AS_CONTACT, created_at__gt=now - ANSWERED_WITHIN
    )
    return list(open_still.order_by("pk").values_list("property", "kind", "message__channel", "created_at"))


def usual_minutes(things: Collection[tuple[int, str]]) -> dict[tuple[int, str], int]:
    """By property and kind: what the same service took there last time; else what it usually takes; else
    UNKNOWN_MINUTES."""
    done = VisitLine.objects.filter(minutes__isnull=False).order_by("visit__work_date", "pk")
    here = done.filter(visit__job__property__in={place for place, _kind in things})
    last: dict[tuple[int, str], int] = {}
    for place, code, removes, minutes in here.values_list(
        "visit__job__property", "service__code", "service__removes_chalk", "minutes"
    ):
        if minutes:
            last[place, CHALK if removes else code] = last[place, code] = minutes
    usual = _usual_by_service(last)
    return {thing: last.get(thing, usual.get(thing[1], UNKNOWN_MINUTES)) for thing in things}


def _usual_by_service(last: Mapping[tuple[int, str], int]) -> dict[str, int]:
    by_code: dict[str, list[int]] = {}
    for (_place, code), minutes in last.items():
        by_code.setdefault(code, []).append(minutes)
    return {code: sorted(values)[len(values) // 2] for code, values in by_code.items()}


def _person(item: DueItem, minutes: int, metres: int | None, today: date) -> Person:
    return Person(
        key=item.key,
        group=(item.kind, item.channel),
        minutes=minutes,
        overdue_days=(today - item.due_on).days,
        nearest_metres=metres,
        last_contact_days=(today - item.last_contact_on).days if item.last_contact_on else None,
    )


def _line(item: DueItem, person: Person, rates: Mapping[tuple[str, str], ResponseRate], why: str) -> ProposedItem:
    return ProposedItem(item, person.minutes, rates.get(person.group, ResponseRate()).mean, why)


def _why_now(person: Person) -> str:
    reasons = [*_overdue_words(person), *_near_words(person)]
    return _(", ").join(reasons) or _("there is room")


def _overdue_words(person: Person) -> Iterable[str]:
    if person.overdue_days > 0:
        yield _("%(days)s days overdue") % {"days": person.overdue_days}


def _near_words(person: Person) -> Iterable[str]:
    if person.nearest_metres is not None and person.nearest_metres < NEAR_METRES:
        yield _("a crew comes within %(distance)s") % {"distance": miles_words(NEAR_METRES)}


def _why_later(found: Proposal, room_minutes: int) -> str:
    if room_minutes <= 0:
        return _("the crews have no free hours in these weeks")
    if not found.chosen:
        return _("the job alone would not fit into the free hours")
    return _("those before fill the free hours: %(hours)s h expected") % {"hours": round(found.expected_minutes / 60)}
