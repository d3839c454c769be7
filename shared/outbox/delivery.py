"""What providers report about a message after it left: taken in once each, and what follows from it."""

from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from shared.errors import Conflict, NotFound, Refused
from shared.events.services import event_record
from shared.outbox.dropping import messages_drop
from shared.outbox.models import BlockedAddress, DeliveryReport, Message, MessageState, Reported
from shared.outbox.selectors import message_ids_at, normal_address

CLOSES_ADDRESS = (Reported.BOUNCED, Reported.COMPLAINED)


def delivery_report_take(*, event: str, message_key: str, kind: str, detail: str = "", at: datetime) -> bool:
    """Keep a provider's report and act on it; False where this `event` was taken in before.

    `message_key` is the idempotency key under which the message was handed over, or the reference that the provider
    gave it. Delivered settles a message of unknown result; bounced and complained close the address for everything
    and drop what waits for it. Raises NotFound for a message that was not sent from here, Refused for an odd kind.
    """
    if kind not in Reported.values:
        raise Refused(_("There is no such kind of report."), kind=kind)
    message = _message_of(message_key)
    try:
        with transaction.atomic():
            DeliveryReport.objects.create(event=event, message=message, kind=kind, detail=detail[:500], at=at)
            _act_on(message, kind, detail[:500], at)
    except IntegrityError:
        if DeliveryReport.objects.filter(event=event).exists():
            return False
        raise
    return True


@transaction.atomic
def blocked_address_open(*, blocked_id: int, reason: str, actor: Any, now: datetime) -> BlockedAddress:
    """The office lets messages go to a closed address again. Raises Refused without a reason, Conflict if open."""
    if not reason.strip():
        raise Refused(_("Say why, in a few words."))
    if not BlockedAddress.objects.filter(pk=blocked_id, opened_at__isnull=True).update(opened_at=now):
        raise Conflict(_("This address is open already."))
    blocked = BlockedAddress.objects.get(pk=blocked_id)
    event_record(kind="address.opened", subject=blocked, actor=actor, reason=reason.strip()[:200])
    return blocked


def _message_of(key: str) -> Message:
    """By our key or by the provider's reference, which says nothing where it is empty."""
    found = Message.objects.filter(provider_reference=key).order_by("-id").first() if key else None
    by_key = Message.objects.filter(idempotency_key=key).first() if _is_uuid(key) else None
    message = by_key or found
    if message is None or message.claimed_at is None:
        raise NotFound(_("No such message was sent from here."))
    return message


def _is_uuid(text: str) -> bool:
    hexadecimal = text.replace("-", "")
    return len(hexadecimal) == 32 and all(c in "0123456789abcdefABCDEF" for c in hexadecimal)


def _act_on(message: Message, kind: str, detail: str, at: datetime) -> None:
    if kind == Reported.DELIVERED:
        Message.objects.filter(pk=message.pk, delivered_at__isnull=True).update(delivered_at=at)
    if kind != Reported.FAILED:  # whatever else it says, the provider had it: the result is no longer unknown
        unknown = Message.objects.filter(pk=message.pk, state=MessageState.SENDING)
        unknown.update(state=MessageState.SENT, finished_at=at, problem="")
    if kind in CLOSES_ADDRESS:
        _close(message, kind, detail, at)


def _close(message: Message, kind: str, detail: str, at: datetime) -> None:
    about = {"message": message.pk, "report": kind}
    address_close(
        channel=message.channel, address=message.recipient, kind=kind, detail=detail, about=about, at=at
    )  # fmt: skip


@transaction.atomic
def address_close(
    *, channel: str, address: str, kind: str, detail: str, about: dict[str, Any], at: datetime
) -> BlockedAddress:
    """Let nothing go to an address any more, and drop what waits for it. `kind` is bounced or complained; `about` goes
    into the history. Closing it again changes nothing."""
    blocked, is_new = BlockedAddress.objects.get_or_create(
        channel=channel,
        address=normal_address(channel, address),
        opened_at=None,
        defaults={"kind": kind, "detail": detail, "since": at},
    )
    if is_new:
        event_record(kind="address.closed", subject=blocked, data=about)
    there = Message.objects.filter(pk__in=message_ids_at(channel, address))
    messages_drop(there, why=blocked_words(blocked.kind), now=at)
    return blocked


def blocked_words(kind: str) -> str:
    """Why nothing goes to an address that is closed for this `kind` of report."""
    if kind == Reported.COMPLAINED:
        return _("The person there reported a message as unwanted.")
    return _("The address does not work: a message came back.")
