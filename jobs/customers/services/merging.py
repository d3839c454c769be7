"""Two entries of one customer become one.

The entry that goes keeps its row, its history and its addresses, and says which customer it became: what is never
changed (what was said, answered and texted) goes on pointing there, and its links and numbers still speak for the
person. Houses move, and with them jobs, readings and reminders; a house that both have becomes one (joining.py).
Whatever either entry was opted out of stays so.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet
from django.db.models.functions import Lower
from django.utils.translation import gettext as _

from jobs.customers.domain.consent import ABOUT_BOOKED_WORK, ABOUT_REMINDERS, ConsentRow, standing
from jobs.customers.models import Consent, Customer, DifferentCustomers, Property, Purpose
from jobs.reminders.models import Reminder
from jobs.work.models import Job
from shared.errors import Conflict, Refused
from shared.events.services import event_record
from shared.outbox.models import Channel, Message

from .joining import (
    HouseJoin,
    house_join,
    houses_of_both,
    join_obstacles,
    join_plan,
    reminders_call_off,
    waiting_reminders,
)
from .records import consent_record

SOURCE = "merged entries"
# What a purpose is judged by; the widest first, since it counts for the others as well.
_PURPOSES = (
    (Purpose.ALL, (Purpose.ALL.value,)),
    (Purpose.REMINDER, ABOUT_REMINDERS),
    (Purpose.SERVICE, ABOUT_BOOKED_WORK),
)
_TAKEN_OVER = ("email", "phone_e164", "source")


@dataclass(frozen=True)
class OptOut:
    """A way of writing and a purpose that one of the two entries said no to."""

    channel: str
    purpose: str

    @property
    def words(self) -> str:
        return f"{Channel(self.channel).label}: {Purpose(self.purpose).label}"


@dataclass(frozen=True)
class MergePlan:
    """What merging `other` into `keep` would do; nothing of it where `obstacles` says why not.

    `moved` are the houses that move, `joined` those that both have; `jobs` and `reminders` are at both kinds. `taken`
    are the values that fill blanks of `keep`, and `noted` those that go into its note. `called_off` counts the
    reminders that wait for the other one.
    """

    keep: Customer
    other: Customer
    obstacles: tuple[str, ...]
    moved: tuple[Property, ...]
    joined: tuple[HouseJoin, ...]
    jobs: int
    reminders: int
    called_off: int
    taken: dict[str, str]
    noted: tuple[str, ...]
    opt_outs: tuple[OptOut, ...]

    def as_json(self) -> dict[str, Any]:
        return {
            "keep": self.keep.pk,
            "other": self.other.pk,
            "obstacles": list(self.obstacles),
            "properties": [place.pk for place in self.moved],
            "properties_joined": [join.as_json() for join in self.joined],
            "jobs": self.jobs,
            "reminders": self.reminders,
            "called_off": self.called_off,
            "taken_over": sorted(self.taken),
            "noted": list(self.noted),
            "opt_outs": [{"channel": each.channel, "purpose": each.purpose} for each in self.opt_outs],
        }


def merge_plan(*, keep: Customer, other: Customer) -> MergePlan:
    """What `customer_merge` would do. Reads only."""
    joined = tuple(join_plan(place, into) for place, into in houses_of_both(keep, other)) if keep.pk != other.pk else ()
    both = {join.place.pk for join in joined}
    theirs = other.properties.filter(joined_into__isnull=True)
    moved = tuple(place for place in theirs.order_by("street", "pk") if place.pk not in both)
    return MergePlan(
        keep=keep,
        other=other,
        obstacles=tuple(_obstacles(keep, other, joined)),
        moved=moved,
        joined=joined,
        jobs=Job.objects.filter(property__in=theirs).count(),
        reminders=Reminder.objects.filter(property__in=theirs).count(),
        called_off=_waiting(other).count(),
        taken={name: value for name in _TAKEN_OVER if (value := getattr(other, name)) and not getattr(keep, name)},
        noted=tuple(_noted(keep, other)),
        opt_outs=tuple(_opt_outs(keep, other)),
    )


@transaction.atomic
def customer_merge(*, keep: Customer, other: Customer, actor: Any, now: datetime) -> MergePlan:
    """Merge `other` into `keep`: see the module. Returns what was done.

    Reminders that wait for `other` are called off, so that nobody hears twice. Raises Refused, naming every obstacle;
    Conflict where one of the two was merged meanwhile.
    """
    keep, other = _locked(keep, other)
    plan = merge_plan(keep=keep, other=other)
    if plan.obstacles:
        raise Refused(" ".join(plan.obstacles))
    reminders_call_off(_waiting(other), why=_("Its customer was merged with another entry."), now=now)
    Property.objects.filter(pk__in=[place.pk for place in plan.moved]).update(customer=keep)
    for join in plan.joined:
        house_join(join, actor=actor)
    _fill(plan)
    _agree(plan)
    _refuse(plan)
    gone = Q(pk=other.pk) | Q(merged_into=other)
    Customer.objects.filter(gone).update(merged_into=keep, merged_at=now)
    DifferentCustomers.objects.filter(Q(first=other) | Q(second=other)).delete()
    event_record(kind="customer.merged", subject=other, actor=actor, data={"into": keep.pk})
    moved = {name: value for name, value in plan.as_json().items() if name not in ("noted", "obstacles")}
    event_record(kind="customer.took_over", subject=keep, actor=actor, data=moved)
    return plan


@transaction.atomic
def customers_tell_apart(*, one: Customer, two: Customer, actor: Any, now: datetime) -> DifferentCustomers:
    """Two entries that look alike are two customers. Raises Refused for one and the same entry."""
    first, second = sorted((one, two), key=lambda customer: customer.pk)
    if first.pk == second.pk:
        raise Refused(_("This is one and the same entry."))
    row, is_new = DifferentCustomers.objects.get_or_create(
        first=first, second=second, defaults={"at": now, "by": actor}
    )
    if is_new:
        event_record(kind="customer.told_apart", subject=first, actor=actor, data={"other": second.pk})
    return row


def _locked(keep: Customer, other: Customer) -> tuple[Customer, Customer]:
    """Both rows as they are now, held in the order of their ids."""
    rows = {
        row.pk: row for row in Customer.objects.select_for_update().filter(pk__in=(keep.pk, other.pk)).order_by("pk")
    }
    if len(rows) < len({keep.pk, other.pk}):
        raise Conflict(_("One of the two is not there any more."))
    return rows[keep.pk], rows[other.pk]


# --- what stands in the way ---


def _obstacles(keep: Customer, other: Customer, joined: Sequence[HouseJoin]) -> Iterator[str]:
    if keep.pk == other.pk:
        yield _("This is one and the same entry.")
        return
    for customer in (keep, other):
        if customer.merged_into_id:
            yield _("%(name)s was merged with another entry already.") % {"name": customer.name}
    for join in joined:
        yield from join_obstacles(join.place)


def _waiting(other: Customer) -> QuerySet[Message]:
    """Reminders that still wait for the other one."""
    return waiting_reminders(reminders__property__customer=other)


# --- what is done ---


def _noted(keep: Customer, other: Customer) -> Iterator[str]:
    """What the other entry says and this one has no place for."""
    if other.name != keep.name:
        yield _("Also known as %(name)s.") % {"name": other.name}
    for label, name in ((_("Also reached at %(value)s."), "phone_e164"), (_("Also reached at %(value)s."), "email")):
        value = getattr(other, name)
        if value and getattr(keep, name) and value.lower() != getattr(keep, name).lower():
            yield label % {"value": value}
    if other.reference:
        yield _("Also has the reference %(value)s.") % {"value": other.reference}
    if other.note.strip():
        yield other.note.strip()


def _fill(plan: MergePlan) -> None:
    note = "\n".join(filter(None, (plan.keep.note, *plan.noted)))
    Customer.objects.filter(pk=plan.keep.pk).update(note=note, **plan.taken)
    plan.keep.refresh_from_db()


def _rows(customer: Customer, channel: str) -> list[ConsentRow]:
    """What was said by this entry, and by anybody with the same address."""
    mail = Q(address=customer.email.lower()) if channel == Channel.EMAIL and customer.email else Q()
    text = Q(customer__phone_e164=customer.phone_e164) if channel == Channel.TEXT and customer.phone_e164 else Q()
    said = Consent.objects.annotate(address=Lower("customer__email")).filter(
        Q(customer=customer) | Q(customer__merged_into=customer) | mail | text, channel=channel
    )
    return [ConsentRow(*row) for row in said.order_by("id").values_list("channel", "purpose", "given", "at", "id")]


def _opt_outs(keep: Customer, other: Customer) -> Iterator[OptOut]:
    for channel in Channel.values:
        said = [_rows(customer, channel) for customer in (keep, other)]
        for purpose, counting in _PURPOSES:
            if any(standing(rows, channel, counting).opted_out_at for rows in said):
                yield OptOut(channel, purpose)
                if purpose == Purpose.ALL:
                    break


def _agree(plan: MergePlan) -> None:
    """An agreement goes with the address that it was given for, in the person's own words."""
    for channel, name in ((Channel.EMAIL, "email"), (Channel.TEXT, "phone_e164")):
        if name not in plan.taken:
            continue
        said = Consent.objects.filter(customer=plan.other, channel=channel, given=True).order_by("-at", "-pk").first()
        if said is not None:
            wording = _("Agreed on %(day)s: %(wording)s") % {
                "day": said.at.date(),
                "wording": said.wording or said.source,
            }
            consent_record(
                customer=plan.keep, channel=channel, purpose=said.purpose, given=True, source=SOURCE, wording=wording
            )


def _refuse(plan: MergePlan) -> None:
    """Written anew for the entry that stays, after everything else: an opt-out of either side wins."""
    for each in plan.opt_outs:
        consent_record(
            customer=plan.keep, channel=each.channel, purpose=each.purpose, given=False, source=SOURCE,
            wording=_("One of two entries that were merged was opted out."),
        )  # fmt: skip
