"""Dropping messages that wait: they are not sent any more, and say why."""

from datetime import datetime

from django.db.models import QuerySet

from shared.outbox.models import Message, MessageState


def messages_drop(wanted: QuerySet[Message], *, why: str, now: datetime) -> int:
    """Drop those of `wanted` that still wait, in the caller's transaction. Returns how many."""
    waiting = wanted.filter(state=MessageState.WAITING)
    return waiting.update(state=MessageState.DROPPED, finished_at=now, problem=why)
