"""The due list weighed against the crews' free hours: who should hear now, who waits, and why, in words."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import islice
from typing import Any

from django.db.models import Exists, OuterRef
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.customers.models import Property
from jobs.reminders.domain.choosing import Asked, Person, ResponseRate, Wait, propose
from jobs.reminders.domain.gain import ANSWERED_WITHIN
from jobs.reminders.expected import Basis, basis_get, expected_of, services_by_kind
from jobs.reminders.kept import thing_of
from jobs.reminders.listing import DueSheet
from jobs.reminders.models import Reminder, ReminderAnswer
from jobs.reminders.narrowing import DueWish
from jobs.reminders.selectors import COUNTS_AS_CONTACT, DueItem, due_item_json
from jobs.work.models import Job
from shared.company.selectors import company_get
from shared.outbox.models import Channel
from shared.web.words import hours_words

SHORT_DETOUR_MINUTES = 5
# Four times what fills the room lets a crew nearby count for months of overdue days; ours, no source.
WEIGHED_TIMES, LEAST_WEIGHED, MOST_WEIGHED = 4, 200, 5_000
Detours = Callable[[Sequence[Property]], Mapping[int, int]]
"""From properties to the drive minutes that a visit would add to a route of the coming weeks, where one passes by."""


@dataclass(frozen=True)
class Room:
    """Crew-minutes of the coming weeks: `free` of plans and promises, of which `undated` are taken by work that is
    agreed and has no day yet, and `kept` by the owner's wish; `later` of the week after is left after the same."""

    free: int
    undated: int = 0
    kept: int = 0
    later: int = 0

    @property
    def minutes(self) -> int:
        """What reminders may fill."""
        return max(0, self.free - self.undated - self.kept)


@dataclass(frozen=True)
class ProposedItem:
    """A line of the proposal, and why it is chosen or waits."""

    item: DueItem
    why: str


@dataclass(frozen=True)
class DueProposal:
    """`room`: what may be filled; `pending_minutes`: expected of those who were asked before
    and may still answer; `expected_minutes` is what the chosen are expected to bring, and with 80 % probability both
    together come to between `low_minutes` and `high_minutes`. `not_weighed` more may be reminded, all of them less
    overdue or reminded later than those who were weighed."""

    room: Room
    pending_minutes: float
    expected_minutes: float
    low_minutes: float
    high_minutes: float
    overflow: float
    chosen: tuple[ProposedItem, ...]
    waiting: tuple[ProposedItem, ...]
    not_weighed: int
    rates: Mapping[tuple[str, str], ResponseRate]


def due_proposal(*, today: date, now: datetime, room: Room, detours: Detours) -> DueProposal:
    """Weigh what may be reminded now against the room of the weeks to fill, and of the one after. Reads only.

    Of a long list only the most urgent are weighed, many times what fills the room.
    """
    sheet = DueSheet(today=today, wish=DueWish(state="ready"))
    ready = list(_candidates(sheet.by_urgency(), room.minutes + room.later))
    basis = basis_get(today=today, zone=company_get().timezone)
    rates = basis.answers
    added = detours(list(Property.objects.in_bulk({item.property_id for item in ready}).values()))
    people = [_person(item, added.get(item.property_id), today) for item in ready]
    asked = _asked(basis, now)
    found = propose(people, rates, room_minutes=room.minutes, later_room_minutes=room.later, asked=asked)
    by_key = {person.key: (item, person) for item, person in zip(ready, people, strict=True)}
    return DueProposal(
        room=room,
        pending_minutes=found.pending_minutes,
        expected_minutes=found.expected_minutes,
        low_minutes=found.low_minutes,
        high_minutes=found.high_minutes,
        overflow=found.overflow,
        chosen=tuple(ProposedItem(by_key[key][0], _why_now(by_key[key][1])) for key in found.chosen),
        waiting=tuple(
            ProposedItem(by_key[key][0], _why_later(reason, by_key[key][1]))
            for key, reason in zip(found.waiting, found.reasons, strict=True)
        ),
        not_weighed=max(0, sheet.ready_count - len(ready)),
        rates=rates,
    )


def _candidates(by_urgency: Iterable[DueItem], room_minutes: int) -> Iterator[DueItem]:
    """Until their expected work is WEIGHED_TIMES the room, and never fewer than LEAST_WEIGHED nor more than
    MOST_WEIGHED: so the length of the due list does not count, and there is enough to choose the nearest from."""
    expected = 0.0
    for number, item in enumerate(islice(by_urgency, MOST_WEIGHED)):
        if number >= LEAST_WEIGHED and expected >= WEIGHED_TIMES * room_minutes:
            return
        expected += (item.chance or 0) * item.minutes
        yield item


@dataclass(frozen=True)
class RateWords:
    """What was learned of the answers of one kind and channel, with the bounds of its 90 % interval."""

    name: str
    rate: ResponseRate
    low: float
    high: float


def rates_in_words(rates: Mapping[tuple[str, str], ResponseRate]) -> list[RateWords]:
    """By the names of services and ways, in their order."""
    names = {kind: service.name for kind, service in services_by_kind().items()}
    found = [
        RateWords(f"{names.get(kind, kind)}, {Channel(channel).label}", rate, rate.quantile(0.05), rate.quantile(0.95))
        for (kind, channel), rate in rates.items()
    ]
    return sorted(found, key=lambda each: each.name)


def proposal_json(found: DueProposal) -> dict[str, Any]:
    """As the command and the API give it."""
    return {
        "room_minutes": found.room.minutes,
        "undated_minutes": found.room.undated,
        "kept_minutes": found.room.kept,
        "pending_minutes": round(found.pending_minutes),
        "expected_minutes": round(found.expected_minutes),
        "low_minutes": round(found.low_minutes),
        "high_minutes": round(found.high_minutes),
        "overflow_percent": round(100 * found.overflow, 1),
        "chosen": [_json(line) for line in found.chosen],
        "waiting": [_json(line) for line in found.waiting],
        "not_weighed": found.not_weighed,
    }


def _json(line: ProposedItem) -> dict[str, Any]:
    item = due_item_json(line.item)
    return {
        "key": item["key"], "minutes": item["crew_minutes"], "chance_percent": item["chance_percent"], "why": line.why,
    }  # fmt: skip


def _asked(basis: Basis, now: datetime) -> list[Asked]:
    """Those who were asked and may still answer, with what a yes of theirs would take."""
    rows = _unanswered(now)
    things = {row: thing_of(row) for row in rows}
    worth = expected_of(things.values(), places={row.property_id: row.property for row in rows}, basis=basis)
    return [
        Asked((row.kind, row.message.channel), worth[thing].minutes, (now - row.created_at).days)
        for row, thing in things.items()
    ]


def _unanswered(now: datetime) -> list[Reminder]:
    """Each reminder that may still bring a job: nobody answered it, and no job was taken down at the property since."""
    who = Coalesce("customer__merged_into", "customer")
    said = ReminderAnswer.objects.annotate(who=who).filter(
        who=OuterRef("property__customer"), at__gte=OuterRef("created_at")
    )
    came = Job.objects.filter(property=OuterRef("property"), created_at__gte=OuterRef("created_at"))
    open_still = Reminder.objects.filter(
        ~Exists(said), ~Exists(came), message__state__in=COUNTS_AS_CONTACT, created_at__gt=now - ANSWERED_WITHIN
    )
    rows = open_still.select_related("property", "message").defer("message__body", "message__headers")
    return list(rows.prefetch_related("walls").order_by("pk"))


def _person(item: DueItem, detour_minutes: int | None, today: date) -> Person:
    return Person(
        key=item.key,
        group=(item.kind, item.channel),
        minutes=item.minutes,
        overdue_days=(today - item.due_on).days,
        detour_minutes=detour_minutes,
        last_contact_days=(today - item.last_contact_on).days if item.last_contact_on else None,
    )


def _why_now(person: Person) -> str:
    """What puts the person before others."""
    reasons = []
    if person.overdue_days > 0:
        reasons.append(_overdue_words(person.overdue_days))
    if person.detour_minutes is not None and person.detour_minutes <= SHORT_DETOUR_MINUTES:
        reasons.append(_("a crew that passes by would drive %(minutes)d min more") % {"minutes": person.detour_minutes})
    if person.last_contact_days is None:
        reasons.append(_("never reminded yet"))
    return _(", ").join(reasons) or _("there is room")


def _why_later(reason: Wait, person: Person) -> str:
    hours = {"hours": hours_words(person.minutes)}
    texts = {
        Wait.NO_ROOM: _("The crews have no free hours in these weeks."),
        Wait.ASKED_FILL_IT: _("Reminders that went out before may still be answered and would fill the free hours."),
        Wait.TOO_LONG: _("The job takes %(hours)s: alone it may be more than the free hours hold.") % hours,
        Wait.SHORTER_FITTED: _("The job takes %(hours)s, which no longer fits; shorter ones still did.") % hours,
        Wait.OTHERS_FIRST: _("Others come first and fill the free hours; here it is %(standing)s.")
        % {"standing": _standing_words(person)},
    }
    return texts[reason]


def _standing_words(person: Person) -> str:
    """All that the order goes by: how late, how near a crew, how long silent."""
    late = _overdue_words(person.overdue_days)
    if person.detour_minutes is None:
        near = _("no crew goes near yet")
    else:
        near = _("the nearest crew would drive %(minutes)d min more") % {"minutes": person.detour_minutes}
    if person.last_contact_days is None:
        return _(", ").join((late, near, _("never reminded yet")))
    silent = ngettext("reminded %(days)s day ago", "reminded %(days)s days ago", person.last_contact_days)
    return _(", ").join((late, near, silent % {"days": person.last_contact_days}))


def _overdue_words(days: int) -> str:
    if days == 0:
        return _("due today")
    if days > 0:
        return ngettext("%(days)s day overdue", "%(days)s days overdue", days) % {"days": days}
    return ngettext("due in %(days)s day", "due in %(days)s days", -days) % {"days": -days}
