"""Sends what waits: claim a row, send outside any transaction, write down what came of it.

A row is claimed by a conditional UPDATE from `waiting` to `sending`, so two dispatchers never take the same one.
Only errors that say for certain that nothing was sent lead to another attempt. Whatever else happens, a killed
process included, leaves the row in `sending`: shown to the office as unknown, and never sent again by itself.

Claims follow one another, each for the time of a few short queries, so that dispatchers keep pace and weekly limit
together. Whatever may stop a message is looked at in its own claim, right before it goes: nothing is known from earlier
but whose turn it is.
"""

import logging
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import DatabaseError, transaction

from shared.outbox.channels import deliver
from shared.outbox.delivery import blocked_words
from shared.outbox.domain.limits import WORTH_THE_WAIT, held_until, room_this_minute
from shared.outbox.domain.quiet_hours import is_open, next_open
from shared.outbox.domain.retry import UNCHECKED_WAITS, wait_after
from shared.outbox.errors import NotSent
from shared.outbox.guards import reason_to_drop
from shared.outbox.looks import LastLook, last_look
from shared.outbox.models import Message, MessageState, SendingLimits
from shared.outbox.selectors import sending_switch_get, sent_lately
from shared.outbox.turns import (
    Turn,
    closed_put_off,
    due_turns,
    holidays_for,
    late_drop,
    next_turn_at,
    too_late_words,
)

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
    *,
    now: datetime,
    limit: int = 100,
    seconds: int | None = None,
    clock: Clock | None = None,
    wait: Callable[[float], object] | None = None,
) -> DispatchResult:
    """Send up to `limit` messages whose time has come, for about `seconds` at most: what was asked for before what was
    not, the longest due first.

    `clock` is read before each message, so that a slow gateway cannot carry a long run into the quiet hours; without
    it the whole run happens at `now`. Each channel keeps to its pace; the rest waits for the next minute, and with
    `wait`, which is given seconds, as much as goes in a moment goes in this run. Safe to run twice at once, and after a
    crash.
    """
    read = clock or (lambda: now)
    outcomes: Counter[str] = Counter(dropped=late_drop(now))
    is_on = sending_switch_get().is_on
    if is_on:
        outcomes["later"] = closed_put_off(now)
    for turn in due_turns(now, limit, until=now + WORTH_THE_WAIT if wait else now) if is_on else ():
        if seconds is not None and read() - now > timedelta(seconds=seconds):
            break
        if wait and turn.at > read():
            wait((turn.at - read()).total_seconds())
        outcome = _send_one(turn, read)
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


def _send_one(turn: Turn, read: Clock) -> str:
    """Returns the name of a counter of DispatchResult, `taken` where others were faster, or `off`."""
    try:
        message, outcome = _claim(turn, read())
    except DatabaseError:
        raise
    except Exception as error:  # it would come again at each run, and keep all others waiting
        logger.exception("message %s cannot be checked", turn.message_id)
        return _put_aside(turn.message_id, error, read())
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
def _claim(turn: Turn, now: datetime) -> tuple[Message | None, str]:
    """Take the row for sending, or settle what else must become of it.

    The limits are locked first and in a statement of their own: one that waits for a lock sees the rest of the
    database as it was before it waited, and not what the claim that it waited for has taken.
    """
    limits, _is_new = SendingLimits.objects.select_for_update().get_or_create(pk=1)
    look = last_look(turn, now=now, limits=limits)
    if look is None:
        return None, "taken"
    if look.is_switched_off:
        return None, "off"
    message = look.message
    reason = _reason_to_drop(look, now)
    if reason:
        return None, _move(message, "dropped", problem=reason, finished_at=now)
    later = _may_go_at(look, now, limits)
    if later > now:
        return None, _move(message, "later", not_before=later)
    if not room_this_minute(limits.per_minute(message.channel), look.claimed):
        return None, "taken"
    taken = _move(message, "sending", claimed_at=now, attempts=message.attempts + 1, problem="")
    return (message, taken) if taken == "sending" else (None, taken)


def _reason_to_drop(look: LastLook, now: datetime) -> str:
    message = look.message
    if message.not_after and message.not_after < now:
        return too_late_words()
    return blocked_words(look.blocked_kind) if look.blocked_kind else reason_to_drop(message)


def _put_aside(message_id: int, error: Exception, now: datetime) -> str:
    """Whatever stood in the way may be mended by then; until then the office reads what it is."""
    message = Message.objects.get(pk=message_id)
    return _move(
        message, "later", not_before=now + UNCHECKED_WAITS, problem=f"{type(error).__name__}: {error}"[:500]
    )  # fmt: skip


def _may_go_at(look: LastLook, now: datetime, limits: SendingLimits) -> datetime:
    """`now`, or the instant until which hours, holidays or the weekly limit hold the message back."""
    message, earliest = look.message, now
    if message.is_promotion and look.is_week_full:
        sent = sent_lately(message, now=now)
        earliest = held_until(sent, now=now, most_per_week=limits.most_per_week) or now
    if not message.quiet_zone:
        return earliest
    holidays = holidays_for(message.is_promotion, look.country)
    return (
        earliest
        if is_open(earliest, message.quiet_zone, holidays)
        else next_open(earliest, message.quiet_zone, holidays)
    )


def _move(message: Message, outcome: str, **values: Any) -> str:
    """Change a row that still waits, here as well; `later` leaves it waiting, the other outcomes are states."""
    values["state"] = MessageState.WAITING if outcome == "later" else MessageState(outcome)
    if not Message.objects.filter(pk=message.pk, state=MessageState.WAITING).update(**values):
        return "taken"
    for name, value in values.items():
        setattr(message, name, value)
    return outcome


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
