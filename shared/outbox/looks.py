"""The last look before a message goes: the row, and all that the outbox itself holds against it, in one statement.

What a room holds against it is asked of its guards. Both happen in the transaction that claims the row. It is plain SQL
since it is asked for every message, and what the ORM takes to write it is several times what the database takes to
answer it.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection

from shared.outbox.domain.limits import MINUTE, WEEK
from shared.outbox.models import Message, SendingLimits
from shared.outbox.selectors import normal_address
from shared.outbox.turns import Turn

# Claims of another process at this very moment count as well, whichever of the two read the clock first.
_LOOK = """
SELECT m.*,
    EXISTS (SELECT 1 FROM outbox_sendingswitch WHERE NOT is_on) AS is_switched_off,
    (SELECT kind FROM outbox_blockedaddress
        WHERE channel = %(channel)s AND address = %(address)s AND opened_at IS NULL) AS blocked_kind,
    (SELECT COUNT(*) FROM outbox_message
        WHERE channel = %(channel)s AND claimed_at > %(minute_ago)s AND claimed_at < %(in_a_minute)s) AS claimed,
    EXISTS (SELECT 1 FROM outbox_message
        WHERE channel = %(channel)s AND LOWER(recipient) = LOWER(%(recipient)s) AND claimed_at > %(week_ago)s
            AND state IN ('sending', 'sent') AND id <> %(id)s
        LIMIT 1 OFFSET %(week_but_one)s) AS is_week_full,
    (SELECT country FROM company_company WHERE id = 1) AS country
FROM outbox_message m WHERE m.id = %(id)s AND m.state = 'waiting'"""


@dataclass(frozen=True)
class LastLook:
    """`blocked_kind`: why the address is closed, empty where it is open. `claimed`: how many of the channel leave
    within the same minute. `is_week_full`: as many as the weekly limit went to the address. `country`: of the firm.
    """

    message: Message
    is_switched_off: bool
    blocked_kind: str
    claimed: int
    is_week_full: bool
    country: str


def last_look(turn: Turn, *, now: datetime, limits: SendingLimits) -> LastLook | None:
    """None where the row waits no more. PostgreSQL locks it, and passes over one that another dispatcher holds."""
    can_lock = connection.features.has_select_for_update_skip_locked
    sql = f"{_LOOK} FOR UPDATE OF m SKIP LOCKED" if can_lock else _LOOK
    row: Any = next(iter(Message.objects.raw(sql, _parameters(turn, now, limits))), None)
    if row is None:
        return None
    return LastLook(
        row, bool(row.is_switched_off), row.blocked_kind or "", row.claimed, bool(row.is_week_full), row.country or ""
    )


def _parameters(turn: Turn, now: datetime, limits: SendingLimits) -> dict[str, Any]:
    instants = {"minute_ago": now - MINUTE, "in_a_minute": now + MINUTE, "week_ago": now - WEEK}
    return {
        "id": turn.message_id,
        "channel": turn.channel,
        "recipient": turn.recipient,
        "address": normal_address(turn.channel, turn.recipient),
        "week_but_one": limits.most_per_week - 1,
    } | {name: connection.ops.adapt_datetimefield_value(at) for name, at in instants.items()}
