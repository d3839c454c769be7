"""Whose turn it is: what may go now, in which order, and what need not be looked at one by one.

Every statement here is answered from an index of the rows that wait, so a backlog of any length costs the same.
"""

from collections.abc import Container
from datetime import date, datetime

from django.db.models import DateTimeField
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from shared.company.selectors import company_get
from shared.holidays import holidays_of
from shared.outbox.domain.limits import MINUTE
from shared.outbox.domain.quiet_hours import next_open
from shared.outbox.models import Channel, Message, MessageState, SendingLimits
from shared.outbox.selectors import room_of, sending_limits_get

# The same expression as in the index: a message is due from its own time on, or from when it was written.
DUE_AT = Coalesce("not_before", "created_at", output_field=DateTimeField())
Turn = tuple[bool, datetime, int]


def due_ids(now: datetime, limit: int) -> list[int]:
    """Ids of what may go, at most `limit`, no more of a channel than its pace allows.

    What somebody waits for goes before what nobody asked for: a crew that is on its way does not stand in line behind
    a thousand reminders. Then the longest due goes first.
    """
    limits = sending_limits_get()
    found: list[Turn] = []
    for channel in Channel.values:
        room = min(limit, room_of(channel, now=now, limits=limits))
        for is_promotion in (False, True):
            turns = _turns(channel, is_promotion, now, room)
            found, room = found + turns, room - len(turns)
    return [pk for _rank, _at, pk in sorted(found)[:limit]]


def _turns(channel: str, is_promotion: bool, now: datetime, room: int) -> list[Turn]:
    waiting = Message.objects.filter(state=MessageState.WAITING, channel=channel, is_promotion=is_promotion)
    due = waiting.annotate(due_at=DUE_AT).filter(due_at__lte=now).order_by("due_at", "id")
    return list(due.values_list("is_promotion", "due_at", "pk")[:room])


def next_turn_at(now: datetime) -> datetime | None:
    """When the next of what is due may go: `now`, or when the pace leaves room again; None where nothing is due."""
    limits = sending_limits_get()
    found = [_next_of(channel, now, limits) for channel in Channel.values]
    return min((at for at in found if at), default=None)


def _next_of(channel: str, now: datetime, limits: SendingLimits) -> datetime | None:
    if not any(_turns(channel, is_promotion, now, 1) for is_promotion in (True, False)):
        return None
    return now if room_of(channel, now=now, limits=limits) else _opens(channel, limits)


def _opens(channel: str, limits: SendingLimits) -> datetime | None:
    """A minute after the claim that, once it is out of the minute, leaves room for one."""
    newest = Message.objects.filter(channel=channel, claimed_at__isnull=False).order_by("-claimed_at")
    most = limits.per_minute(channel)
    claimed = newest.values_list("claimed_at", flat=True)[most - 1 : most].first()
    return claimed + MINUTE if claimed else None


def late_drop(now: datetime) -> int:
    """Drop what could not be sent in time; how many."""
    late = Message.objects.filter(state=MessageState.WAITING, not_after__lt=now)
    return late.update(state=MessageState.DROPPED, finished_at=now, problem=too_late_words())


def too_late_words() -> str:
    return _("It was too late to send it.")


def closed_put_off(now: datetime) -> int:
    """Put off whatever is due in zones whose hours are over, one statement for each zone; how many."""
    waiting = Message.objects.filter(state=MessageState.WAITING).exclude(quiet_zone="")
    put_off = 0
    for zone, is_promotion in waiting.order_by().values_list("quiet_zone", "is_promotion").distinct():
        opens = next_open(now, zone, holidays_for(is_promotion))
        if opens > now:
            here = waiting.filter(quiet_zone=zone, is_promotion=is_promotion)
            put_off += here.annotate(due_at=DUE_AT).filter(due_at__lte=now).update(not_before=opens)
    return put_off


def holidays_for(is_promotion: bool) -> Container[date]:
    """Holidays hold back only what nobody asked for."""
    return holidays_of(company_get().country) if is_promotion else ()
