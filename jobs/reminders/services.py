"""Queueing reminders and honouring opt-outs."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils.translation import gettext as _

from jobs.customers.models import Customer, Property, Purpose
from jobs.customers.selectors import zone_of
from jobs.customers.services import consent_record
from jobs.reminders import rows
from jobs.reminders.composing import Draft
from jobs.reminders.domain.consent import ConsentRow, Obstacle, obstacle
from jobs.reminders.drafting import Group, Skipped, drafts_of, groups_of
from jobs.reminders.holding import NOBODY, Draw, draw_for
from jobs.reminders.kept import reminder_keep
from jobs.reminders.models import HeldBack, Reminder
from jobs.reminders.selectors import DueItem
from jobs.reminders.wording import finding_words, obstacle_words
from shared.company.models import Company
from shared.company.selectors import company_get
from shared.events.services import event_record
from shared.outbox.dropping import messages_drop
from shared.outbox.models import Channel, Message
from shared.outbox.selectors import message_ids_at
from shared.outbox.services import dispatch_soon, message_queue

PURPOSE = "reminder"
# A reminder that could not go out within a week is dropped: it is about a season, not about a day (ours).
LATE_AFTER = timedelta(days=7)


@dataclass(frozen=True)
class Previews:
    """Exactly what would be sent now, and what would not."""

    drafts: tuple[Draft, ...]
    skipped: tuple[Skipped, ...]
    held_back: tuple[Draft, ...] = ()


@dataclass
class QueueResult:
    """What queueing came to: the messages written, the customers held back by the draw, the due things left out."""

    message_ids: list[int] = field(default_factory=list)
    reminders: int = 0
    held_back: int = 0
    skipped: list[Skipped] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        return {
            "messages": self.message_ids,
            "reminders": self.reminders,
            "held_back": self.held_back,
            "skipped": [{"key": skip.key, "reason": skip.reason} for skip in self.skipped],
        }


def reminder_preview(*, keys: Sequence[str], now: datetime, hold_back: bool = True) -> Previews:
    """What each person would get for the due things named by `keys`, word for word, and who is held back.

    Writes nothing. Raises Refused for a key that cannot be read or for more than 2000 of them.
    """
    groups = groups_of(keys)
    found = drafts_of(groups, now=now)
    draw = _draw(groups, now) if hold_back else NOBODY
    drafts = [drafted.draft for drafted in found if drafted.draft]
    held_back = [draft for draft in drafts if not draft.refusals and draw.holds_back(draft)]
    return Previews(
        drafts=tuple(draft for draft in drafts if draft not in held_back),
        skipped=tuple(skip for drafted in found for skip in drafted.skipped),
        held_back=tuple(held_back),
    )


def reminders_queue(*, keys: Sequence[str], actor: Any, now: datetime, hold_back: bool = True) -> QueueResult:
    """Write one message to each customer about the due things named by `keys`, and a reminder for each thing.

    By the company's setting a few customers are drawn and held back instead, unless `hold_back` is false because they
    asked to hear. Every customer is a transaction of its own, in which due date, consent, gap and text are looked at
    again. What was written about before is skipped with its reason, so a second call with the same keys changes
    nothing. Raises Refused for a key that cannot be read or for more than 2000 of them.
    """
    result = QueueResult()
    groups = groups_of(keys)
    draw = _draw(groups, now) if hold_back else NOBODY
    for group in groups:
        try:
            with transaction.atomic():
                _queue_group(group, draw, actor, now, result)
        except IntegrityError:
            result.skipped += [Skipped(key, _("Somebody else queued it just now.")) for key in group.keys]
    if result.message_ids:
        dispatch_soon()
    return result


def _draw(groups: Sequence[Group], now: datetime) -> Draw:
    return draw_for(customer_ids=[group.customer_id for group in groups if group.customer_id is not None], now=now)


def _queue_group(group: Group, draw: Draw, actor: Any, now: datetime, result: QueueResult) -> None:
    if group.customer_id is not None:
        # One queue at a time for each customer; SQLite, which has no row locks, serialises whole transactions.
        Customer.objects.select_for_update().filter(pk=group.customer_id).first()
    (drafted,) = drafts_of([group], now=now)
    draft = drafted.draft
    if draft and draft.refusals:
        result.skipped += [Skipped(item.key, _refusal(draft)) for item in draft.items]
    elif draft and draw.holds_back(draft):
        _hold_back(draft, actor, now)
        result.held_back += 1
    elif draft:
        result.message_ids.append(_write(draft, draw.takes_part(draft), actor, now).pk)
        result.reminders += len(draft.items)
    result.skipped += drafted.skipped


def _hold_back(draft: Draft, actor: Any, now: datetime) -> None:
    """Nobody hears of it: that is all, and it is written down."""
    for item in draft.items:
        held = HeldBack.objects.create(
            property_id=item.property_id,
            kind=item.kind,
            due_on=item.due_on,
            message_key=_message_key(draft),
            at=now,
            by=actor,
        )
        event_record(kind="reminder.held_back", subject=held, actor=actor)


def _message_key(draft: Draft) -> str:
    return f"reminder:{draft.items[0].key}"


def _refusal(draft: Draft) -> str:
    return " ".join(finding_words(finding) for finding in draft.refusals)


def _write(draft: Draft, was_drawn: bool, actor: Any, now: datetime) -> Message:
    company = company_get()
    message, is_new = message_queue(
        dedupe_key=_message_key(draft),
        channel=draft.channel,
        purpose=PURPOSE,
        recipient=draft.recipient,
        recipient_name=draft.customer_name,
        subject=draft.subject,
        body=draft.body,
        language=draft.language,
        not_after=now + LATE_AFTER,
        headers=draft.headers,
        quiet_zone=_zone_of(draft, company),
        is_promotion=True,
        now=now,
    )
    if not is_new:
        raise IntegrityError(_message_key(draft))
    for item in draft.items:
        _reminder_create(item, message, was_drawn, actor, now)
    return message


def _zone_of(draft: Draft, company: Company) -> str:
    """The zone of the person's place: that of the first property written about, else the company's."""
    return zone_of(Property.objects.get(pk=draft.items[0].property_id), otherwise=company.timezone)


def _reminder_create(item: DueItem, message: Message, was_drawn: bool, actor: Any, now: datetime) -> Reminder:
    reminder = reminder_keep(item, message, at=now, was_drawn=was_drawn, by=actor)
    event_record(kind="reminder.queued", subject=reminder, actor=actor, data={"message": message.pk})
    return reminder


@transaction.atomic
def opt_out_record(
    *,
    customer: Customer,
    channel: str,
    everything: bool,
    wording: str,
    source: str,
    now: datetime,
    actor: Any = None,
    purpose: str = Purpose.REMINDER,
) -> int:
    """Write down that a person wants no more reminders by `channel`, or (`everything`) no message of any kind at all.

    With the purpose ALL it is no message of any kind by `channel` alone. It holds for every customer with the same
    address, and what waits for them is dropped at once. Repeating it writes nothing new. Returns how many rows were
    written.
    """
    channels = list(Channel.values) if everything else [channel]
    purpose = Purpose.ALL if everything else purpose
    written = 0
    for person in _same_address(customer, channels):
        for each in channels:
            if _opted_out(person, each, purpose):
                continue
            consent_record(
                customer=person, channel=each, purpose=purpose, given=False,
                wording=wording, source=source, actor=actor,
            )  # fmt: skip
            written += 1
        _drop_waiting(person, channels, purpose, now)
    return written


def _same_address(customer: Customer, channels: Sequence[str]) -> list[Customer]:
    """Everybody for whom the person speaks: those with an address of theirs, and whom each of them was merged into."""
    found: dict[int, Customer] = {}
    waiting = [customer]
    while waiting:
        person = waiting.pop()
        if person.pk not in found:
            found[person.pk] = person
            waiting += _sharing(person, channels)
            waiting += [person.merged_into] if person.merged_into else []
    return [found[pk] for pk in sorted(found)]


def _sharing(person: Customer, channels: Sequence[str]) -> Iterable[Customer]:
    same = Q()
    if Channel.EMAIL in channels and person.email:
        same |= Q(lower_email=person.email.lower())
    if Channel.TEXT in channels and person.phone_e164:
        same |= Q(phone_e164=person.phone_e164)
    everybody = Customer.objects.annotate(lower_email=Lower("email")).select_related("merged_into")
    return everybody.filter(same) if same else ()


def _opted_out(person: Customer, channel: str, purpose: str) -> bool:
    """Whether this very opt-out stands already: the newest row for channel and purpose says no."""
    newest = person.consents.filter(channel=channel, purpose=purpose).order_by("-id").first()
    later_yes = person.consents.filter(channel=channel, given=True)
    return newest is not None and not newest.given and not later_yes.filter(pk__gt=newest.pk).exists()


def _drop_waiting(person: Customer, channels: Sequence[str], purpose: str, now: datetime) -> None:
    """Reminders of the person, or with the purpose ALL whatever waits for their addresses as well.

    Each is found in an index of its own: one condition for both would read all that waits.
    """
    ids = set(Reminder.objects.filter(property__customer=person).order_by().values_list("message", flat=True))
    if purpose == Purpose.ALL:
        addresses = rows.addresses_of(person)
        ids.update(*(message_ids_at(each, addresses[each]) for each in channels if addresses[each]))
    there = Message.objects.filter(pk__in=ids, channel__in=channels)
    messages_drop(there, why=_("The customer opted out."), now=now)


def nothing_at_all_guard(message: Message) -> str:
    """Why no message of any kind must go to this address: the person said so. Asked for every purpose."""
    return _nothing_at_all(message.channel, rows.said_at(message.channel, message.recipient))


def _nothing_at_all(channel: str, said: Iterable[ConsentRow]) -> str:
    return _("The customer wants no messages of any kind.") if rows.want_nothing(said, channel) else ""


def reminder_guard(message: Message) -> str:
    """Why a queued reminder must not leave any more; an empty text where it may. Asked right before it goes, of every
    one: so it is two statements. Closed addresses are the outbox's own business."""
    contacts, channel = rows.contacts_of(message), message.channel
    if not contacts:
        return _("It belongs to no customer any more.")
    if any(contact.address(channel).lower() != message.recipient.lower() for contact in contacts):
        return _("The customer's address changed after it was written.")
    said = rows.said_at(channel, message.recipient)
    unread = min((contact.unread_since for contact in contacts if contact.unread_since), default=None)
    held = {channel: Obstacle(channel, "unread", unread)} if unread else {}
    hindrance = obstacle(said, channel, message.recipient, held)
    if hindrance:
        return _("Not sent: %(why)s.") % {"why": obstacle_words(hindrance, company_get().timezone)}
    return _nothing_at_all(channel, said)
