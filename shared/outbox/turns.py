"""Whose turn it is: what may go now, in which order, and what need not be looked at one by one.

Every statement here is answered from an index of the rows that wait, so a backlog of any length costs the same.
"""

from collections.abc import Container, Mapping, Sequence
from datetime import date, datetime
from operator import attrgetter
from typing import NamedTuple

from django.db import connection
from django.db.models import DateTimeField
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from shared.company.selectors import company_get
from shared.holidays import holidays_of
from shared.outbox.domain.quiet_hours import next_open
from shared.outbox.dropping import messages_drop
from shared.outbox.models import Channel, Message, MessageState
from shared.outbox.selectors import openings_get, sending_limits_get

# The same expression as in the index: a message is due from its own time on, or from when it was written.
DUE_AT = Coalesce("not_before", "created_at", output_field=DateTimeField())
# Of a channel, asked for or not. Each is a piece of the index, which the ORM cannot put together on SQLite.
_DUE = """
SELECT * FROM (
    SELECT id, channel, recipient, is_promotion, COALESCE(not_before, created_at) AS due_at
    FROM outbox_message
    WHERE state = 'waiting' AND channel = '{channel}' AND is_promotion = {is_promotion}
        AND COALESCE(not_before, created_at) <= %(now)s
    ORDER BY COALESCE(not_before, created_at), id LIMIT %({channel})s
) AS {channel}_{is_promotion}"""
_DUE_OF_ALL = " UNION ALL ".join(
    _DUE.format(channel=channel, is_promotion=is_promotion)
    for channel in Channel.values
    for is_promotion in ("FALSE", "TRUE")
)
_IN_TURN = f"SELECT id, channel, recipient FROM ({_DUE_OF_ALL}) AS due ORDER BY is_promotion, due_at, id"  # noqa: S608
# From one zone to the next in the index: DISTINCT would read all of it.
_ZONES = """
WITH RECURSIVE zone (name) AS (
    SELECT MIN(quiet_zone) FROM outbox_message WHERE state = 'waiting' AND quiet_zone > ''
    UNION ALL
    SELECT (SELECT MIN(quiet_zone) FROM outbox_message WHERE state = 'waiting' AND quiet_zone > zone.name)
    FROM zone WHERE zone.name IS NOT NULL
) SELECT name FROM zone WHERE name IS NOT NULL"""


class Turn(NamedTuple):
    """A message whose time has come, and when the pace lets it go. Where it goes never changes; all else is read again
    when it goes."""

    at: datetime
    message_id: int
    channel: str
    recipient: str


def due_turns(now: datetime, limit: int, *, until: datetime) -> list[Turn]:
    """What may go by `until`, at most `limit` and in order: no more of a channel than the pace allows.

    What somebody waits for goes before what nobody asked for: a crew that is on its way does not stand in line behind
    a thousand reminders. Then the longest due goes first.
    """
    openings = openings_get(now=now, limits=sending_limits_get())
    free = {channel: [at for at in when if at <= until][:limit] for channel, when in openings.items()}
    return _turns(now, free)[:limit]


def next_turn_at(now: datetime) -> datetime | None:
    """When the next of what is due may go: `now`, or when the pace leaves room again; None where nothing is due."""
    openings = openings_get(now=now, limits=sending_limits_get())
    first = {channel: when[:1] for channel, when in openings.items()}
    return min((turn.at for turn in _turns(now, first)), default=None)


def _turns(now: datetime, openings: Mapping[str, Sequence[datetime]]) -> list[Turn]:
    """Each opening goes to the next of its channel that is due."""
    free = {channel: iter(when) for channel, when in openings.items()}
    rooms = {channel: len(when) for channel, when in openings.items()}
    due = _first_of_each(now, rooms) if any(rooms.values()) else []
    found = [
        Turn(at, message_id, channel, recipient)
        for message_id, channel, recipient in due
        if (at := next(free[channel], None))
    ]
    return sorted(found, key=attrgetter("at"))  # keeps the order of those that may go at the same time


def _first_of_each(now: datetime, rooms: Mapping[str, int]) -> list[tuple[int, str, str]]:
    with connection.cursor() as cursor:
        cursor.execute(_IN_TURN, {"now": connection.ops.adapt_datetimefield_value(now), **rooms})
        return list(cursor.fetchall())


def late_drop(now: datetime) -> int:
    """Drop what could not be sent in time; how many."""
    return messages_drop(Message.objects.filter(not_after__lt=now), why=too_late_words(), now=now)


def too_late_words() -> str:
    return _("It was too late to send it.")


def closed_put_off(now: datetime) -> int:
    """Put off whatever is due in zones whose hours are over, one statement for each zone; how many."""
    put_off, country = 0, company_get().country
    for zone in _zones_waiting():
        for opens, kinds in _closed_until(now, zone, country).items():
            # `in` even for one kind: a bare boolean is not found in an index.
            here = Message.objects.filter(state=MessageState.WAITING, quiet_zone=zone, is_promotion__in=kinds)
            put_off += here.annotate(due_at=DUE_AT).filter(due_at__lte=now).update(not_before=opens)
    return put_off


def _zones_waiting() -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(_ZONES)
        return [name for (name,) in cursor.fetchall()]


def _closed_until(now: datetime, zone: str, country: str) -> dict[datetime, list[bool]]:
    """By when the zone opens for it: unasked messages or others, where it is closed for them now."""
    kinds: dict[datetime, list[bool]] = {}
    for is_promotion in (False, True):
        opens = next_open(now, zone, holidays_for(is_promotion, country))
        if opens > now:
            kinds.setdefault(opens, []).append(is_promotion)
    return kinds


def holidays_for(is_promotion: bool, country: str) -> Container[date]:
    """Holidays hold back only what nobody asked for."""
    return holidays_of(country) if is_promotion else ()
