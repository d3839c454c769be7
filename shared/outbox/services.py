"""Writing messages, and what the office decides about them. Sending itself is in dispatcher.py."""

import logging
import re
import uuid
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.utils.translation import gettext as _

from shared import clock
from shared.background.errors import WorkerUnreachable
from shared.background.services import enqueue
from shared.errors import Conflict, Refused
from shared.events.services import event_record
from shared.letters import small_beyond_ascii
from shared.outbox.dispatcher import DispatchResult, messages_dispatch
from shared.outbox.domain.quiet_hours import next_open
from shared.outbox.dropping import messages_drop
from shared.outbox.models import Channel, Message, MessageState, SendingLimits, SendingSwitch
from shared.outbox.selectors import sending_limits_get, sending_switch_get, unknown_q

__all__ = [
    "DispatchResult",
    "dispatch_soon",
    "message_call_off",
    "message_mark_sent",
    "message_queue",
    "message_send_again",
    "messages_dispatch",
    "sending_limits_set",
    "sending_switch_set",
]
logger = logging.getLogger(__name__)
E164 = re.compile(r"\+[1-9]\d{6,14}")  # ITU-T E.164: at most 15 digits
SECOND_CHANCE = timedelta(days=2)


def message_queue(
    *,
    dedupe_key: str,
    channel: str,
    purpose: str,
    recipient: str,
    recipient_name: str,
    subject: str,
    body: str,
    language: str = "en",
    not_before: datetime | None = None,
    not_after: datetime | None = None,
    headers: dict[str, str] | None = None,
    quiet_zone: str = "",
    is_promotion: bool = False,
    now: datetime | None = None,
) -> tuple[Message, bool]:
    """Write a message in the caller's transaction; the dispatcher sends it afterwards.

    Returns the message and whether it is new: a second call with the same `dedupe_key` returns the first message and
    changes nothing. With `quiet_zone` (IANA name) it goes only from 8:00 to 21:00 there; with `is_promotion` not on
    holidays, and not beyond the weekly limit of the address. After `not_after` it is dropped. Raises Refused for an
    address, channel, zone or window that cannot be.
    """
    _check_recipient(channel, recipient)
    now = now or clock.now()
    if not_before and not_after and not_after <= not_before:
        raise Refused(_("The message would be late before it may go."))
    if quiet_zone and quiet_zone not in available_timezones():
        raise Refused(_("There is no such time zone."), quiet_zone=quiet_zone)
    opens = next_open(max(now, not_before or now), quiet_zone) if quiet_zone else now
    values = {
        "channel": channel,
        "purpose": purpose,
        "recipient": small_beyond_ascii(recipient),
        "recipient_name": recipient_name,
        "subject": subject,
        "body": body,
        "language": language,
        "not_before": opens if opens > now else not_before,
        "not_after": not_after,
        "headers": headers or {},
        "quiet_zone": quiet_zone,
        "is_promotion": is_promotion,
        "created_at": now,
    }
    return Message.objects.get_or_create(dedupe_key=dedupe_key, defaults=values)


def dispatch_soon() -> None:
    """Start sending once the present transaction is committed. Where that fails, the clock does it within a minute."""
    transaction.on_commit(_start_dispatch)


def _start_dispatch() -> None:
    try:
        enqueue("outbox.dispatch")
    except WorkerUnreachable:
        logger.warning("messages wait for the next tick")


def _check_recipient(channel: str, recipient: str) -> None:
    if channel == Channel.TEXT and not E164.fullmatch(recipient):
        raise Refused(_("A text message needs a number with + and the country code."), recipient=recipient)
    if channel == Channel.EMAIL:
        try:
            validate_email(recipient)
        except ValidationError as error:
            raise Refused(_("This is not an email address."), recipient=recipient) from error
    if channel not in Channel.values:
        raise Refused(_("There is no such channel."), channel=channel)


@transaction.atomic
def message_mark_sent(*, message_id: int, reason: str, actor: Any, now: datetime) -> Message:
    """The office knows that a message of unknown result arrived. Raises Conflict where the result is not unknown."""
    reason = _reason(reason)
    changed = Message.objects.filter(unknown_q(now), pk=message_id).update(
        state=MessageState.SENT, finished_at=now, problem=""
    )
    return _decided(message_id, changed, "message.marked_sent", reason, actor)


@transaction.atomic
def message_send_again(*, message_id: int, reason: str, actor: Any, now: datetime) -> Message:
    """Put a failed, dropped or unknown message back among those that wait, on purpose.

    One of unknown result keeps its key, so a gateway that took it the first time can tell; a failed one gets a new
    key. Consent and quiet hours are looked at again when it goes. Raises Conflict for any other state, Refused where
    what it says is over, such as the day on which a crew comes.
    """
    reason = _reason(reason)
    last = Message.objects.filter(pk=message_id, is_promotion=False).values_list("not_after", flat=True).first()
    if last and last <= now:
        raise Refused(_("What this message says is over by now; it is not sent any more."))
    ended = Message.objects.filter(pk=message_id, state__in=(MessageState.FAILED, MessageState.DROPPED))
    waiting = {
        "state": MessageState.WAITING,
        "attempts": 0,
        "problem": "",
        "finished_at": None,
        "not_before": None,
        "not_after": last or now + SECOND_CHANCE,
    }
    changed = ended.update(idempotency_key=uuid.uuid4(), **waiting)
    changed = changed or Message.objects.filter(unknown_q(now), pk=message_id).update(**waiting)
    return _decided(message_id, changed, "message.sent_again", reason, actor)


@transaction.atomic
def message_call_off(*, message_id: int, reason: str, actor: Any, now: datetime) -> Message:
    """Drop a message that still waits. Raises Conflict where it does not wait any more."""
    reason = _reason(reason)
    changed = messages_drop(Message.objects.filter(pk=message_id), why=reason, now=now)
    return _decided(message_id, changed, "message.called_off", reason, actor)


@transaction.atomic
def sending_limits_set(*, actor: Any, **limits: int) -> SendingLimits:
    """Change the pace and the weekly limit. Raises ValidationError for a limit below 1."""
    row = sending_limits_get()
    before = {name: getattr(row, name) for name in limits}
    for name, value in limits.items():
        setattr(row, name, value)
    row.full_clean()
    row.save()
    event_record(kind="sending.limits", subject=row, actor=actor, data={"before": before, "after": limits})
    return row


@transaction.atomic
def sending_switch_set(*, is_on: bool, reason: str, actor: Any, now: datetime) -> SendingSwitch:
    """Stop or allow all sending. Messages keep waiting while it is off; those that get too late are dropped."""
    reason = _reason(reason)
    switch = sending_switch_get()
    switch.is_on, switch.reason, switch.changed_at, switch.changed_by = is_on, reason, now, actor
    switch.save()
    event_record(kind=f"sending.{'on' if is_on else 'off'}", subject=switch, actor=actor, reason=reason)
    return switch


def _reason(reason: str) -> str:
    if not reason.strip():
        raise Refused(_("Say why, in a few words."))
    return reason.strip()[:200]


def _decided(message_id: int, changed: int, kind: str, reason: str, actor: Any) -> Message:
    message = Message.objects.filter(pk=message_id).first()
    if not changed or message is None:
        raise Conflict(_("This message is in another state by now; look at it again."))
    event_record(kind=kind, subject=message, actor=actor, reason=reason)
    return message
