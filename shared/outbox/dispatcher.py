"""Sends what waits: claim a row, send outside any transaction, write down what came of it.

A row is claimed by a conditional UPDATE from `waiting` to `sending`, so two dispatchers never take the same one.
Only errors that say for certain that nothing was sent lead to another attempt. Whatever else happens, a killed
process included, leaves the row in `sending`: shown to the office as unknown, and never sent again by itself.

Claims follow one another, each for the time of a few short queries, so that dispatchers keep pace and weekly limit
together; the switch is looked at in each.
"""

import logging
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import DatabaseError, connection, transaction

from shared.outbox.channels import deliver
from shared.outbox.domain.limits import held_until
from shared.outbox.domain.quiet_hours import is_open, next_open
from shared.outbox.domain.retry import UNCHECKED_WAITS, wait_after
from shared.outbox.errors import NotSent
from shared.outbox.guards import reason_to_drop
from shared.outbox.models import Message, MessageState, SendingLimits
from shared.outbox.selectors import room_of, sending_switch_get, sent_lately
from shared.outbox.turns import closed_put_off, due_ids, holidays_for, late_drop, next_turn_at, too_late_words

logger = logging.getLogger(__name__)
Clock = Callable[[], datetime]


@dataclass(frozen=True)
class DispatchResult:
    """How many messages came to what in one run. `again` wait for another attempt, `later` for a better time: the
    hours, the weekly limit, or a check that failed.

    `more`: the run got somewhere and others may go at once. `room_at`: others are due, and the pace lets the next one
    go then.
    """

    sent: int = 0
    failed: int = 0
    dropped: int = 0
    again: int = 0
    later: int = 0
    unknown: int = 0
    is_on: bool = True
    more: bool = False
    room_at: datetime | None = None


def messages_dispatch(
    *, now: datetime, limit: int = 100, seconds: int | None = None, clock: Clock | None = None
) -> DispatchResult:
    """Send up to `limit` messages whose time has come, for about `seconds` at most: what was asked for before what was
    not, the longest due first.

    `clock` is read before each message, so that a slow gateway cannot carry a long run into the quiet hours; without
    it the whole run happens at `now`. Each channel keeps to its pace; the rest waits for the next minute. Safe to run
    twice at once, and after a crash.
    """
    read = clock or (lambda: now)
    outcomes: Counter[str] = Counter(dropped=late_drop(now))
    is_on = sending_switch_get().is_on
    if is_on:
        outcomes["later"] = closed_put_off(now)
    for message_id in due_ids(now, limit) if is_on else ():
        if seconds is not None and read() - now > timedelta(seconds=seconds):
            break
        outcome = _send_one(message_id, read)
        if outcome == "off":
            is_on = False
            break
        outcomes[outcome] += 1
    outcomes.pop("taken", None)
    went_on = sum(outcomes.values()) > 0
    ended = read()
    turn_at = next_turn_at(ended) if is_on else None
    is_now = turn_at is not None and turn_at <= ended
    return DispatchResult(**outcomes, is_on=is_on, more=went_on and is_now, room_at=None if is_now else turn_at)


def _send_one(message_id: int, read: Clock) -> str:
    """Returns the name of a counter of DispatchResult, `taken` where others were faster, or `off`."""
    try:
        message, outcome = _claim(message_id, read())
    except DatabaseError:
        raise
    except Exception as error:  # it would come again at each run, and keep all others waiting
        logger.exception("message %s cannot be checked", message_id)
        return _put_aside(message_id, error, read())
    if message is None:
        return outcome
    try:
        reference = deliver(message)
    except NotSent as refusal:
        return _not_sent(message, refusal, read())
    except Exception as error:  # anything may have happened at the other end
        logger.exception("message %s: the result is unknown", message.pk)
        _finish(message, problem=f"{type(error).__name__}: {error}"[:500])
        return "unknown"
    _finish(message, state=MessageState.SENT, provider_reference=reference, finished_at=read(), problem="")
    return "sent"


@transaction.atomic
def _claim(message_id: int, now: datetime) -> tuple[Message | None, str]:
    """Take the row for sending, or settle what else must become of it."""
    limits, _is_new = SendingLimits.objects.select_for_update().get_or_create(pk=1)
    if not sending_switch_get().is_on:
        return None, "off"
    message = _lock(message_id)
    if message is None:
        return None, "taken"
    if message.not_after and message.not_after < now:
        return None, _move(message, "dropped", problem=too_late_words(), finished_at=now)
    reason = reason_to_drop(message)
    if reason:
        return None, _move(message, "dropped", problem=reason, finished_at=now)
    later = _may_go_at(message, now, limits)
    if later > now:
        return None, _move(message, "later", not_before=later)
    if not room_of(message.channel, now=now, limits=limits):
        return None, "taken"
    taken = _move(message, "sending", claimed_at=now, attempts=message.attempts + 1, problem="")
    message.refresh_from_db()
    return (message, taken) if taken == "sending" else (None, taken)


def _put_aside(message_id: int, error: Exception, now: datetime) -> str:
    """Whatever stood in the way may be mended by then; until then the office reads what it is."""
    message = Message.objects.get(pk=message_id)
    return _move(
        message, "later", not_before=now + UNCHECKED_WAITS, problem=f"{type(error).__name__}: {error}"[:500]
    )  # fmt: skip


def _may_go_at(message: Message, now: datetime, limits: SendingLimits) -> datetime:
    """`now`, or the instant until which hours, holidays or the weekly limit hold the message back."""
    earliest = now
    if message.is_promotion:
        sent = sent_lately(message, now=now)
        earliest = held_until(sent, now=now, most_per_week=limits.most_per_week) or now
    if not message.quiet_zone:
        return earliest
    holidays = holidays_for(message.is_promotion)
    return (
        earliest
        if is_open(earliest, message.quiet_zone, holidays)
        else next_open(earliest, message.quiet_zone, holidays)
    )


def _lock(message_id: int) -> Message | None:
    """The waiting row. PostgreSQL passes over one that another dispatcher holds instead of waiting for it."""
    rows = Message.objects.filter(pk=message_id, state=MessageState.WAITING)
    if connection.features.has_select_for_update_skip_locked:
        rows = rows.select_for_update(skip_locked=True)
    return rows.first()


def _move(message: Message, outcome: str, **values: Any) -> str:
    """Change a row that still waits; `later` leaves it waiting, the other outcomes are states."""
    state = MessageState.WAITING if outcome == "later" else MessageState(outcome)
    still_waits = Message.objects.filter(pk=message.pk, state=MessageState.WAITING)
    return outcome if still_waits.update(state=state, **values) else "taken"


def _not_sent(message: Message, refusal: NotSent, now: datetime) -> str:
    wait = wait_after(message.attempts) if refusal.again else None
    if wait is None:
        _finish(message, state=MessageState.FAILED, problem=refusal.problem, finished_at=now)
        return "failed"
    _finish(message, state=MessageState.WAITING, problem=refusal.problem, not_before=now + wait)
    return "again"


def _finish(message: Message, **values: Any) -> None:
    """Write the result, unless somebody in the office decided in the meantime."""
    claim = Message.objects.filter(pk=message.pk, state=MessageState.SENDING, claimed_at=message.claimed_at)
    claim.update(**values)
