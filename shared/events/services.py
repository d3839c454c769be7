from datetime import datetime
from typing import Any

from django.db.models import Model

from shared import clock
from shared.events.models import Event


def event_record(
    *, kind: str, subject: Model, actor: Any = None, reason: str = "", data: dict[str, Any] | None = None
) -> Event:
    """Add a line to the history, inside the caller's transaction.

    `actor` is the user who did it, or None for the clock and for commands. `data` holds ids and numbers that explain
    the change, never names, addresses or telephone numbers.
    """
    event = event_unsaved(kind=kind, subject=subject, at=clock.now(), actor=actor, reason=reason, data=data)
    event.save()
    return event


def event_unsaved(
    *, kind: str, subject: Model, at: datetime, actor: Any = None, reason: str = "", data: dict[str, Any] | None = None
) -> Event:
    """A line of the history for somebody who writes many at once; `subject` must be stored already."""
    return Event(
        at=at,
        kind=kind,
        subject_type=subject._meta.label_lower,
        subject_id=subject.pk,
        actor=actor,
        reason=reason,
        data=data or {},
    )
