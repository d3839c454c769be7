from collections.abc import Collection
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


def fields_change(*, row: Model, fields: dict[str, Any], allowed: Collection[str], kind: str, actor: Any) -> list[str]:
    """Give a row other values, inside the caller's transaction: checked, saved, and noted as an event of this kind,
    which names the fields and not their values. Returns the fields that were other before; none: nothing is written.

    Raises ValidationError for a value that cannot be, TypeError for a field that is not `allowed`.
    """
    unknown = fields.keys() - set(allowed)
    if unknown:
        raise TypeError(f"A {row._meta.verbose_name} has no {', '.join(sorted(unknown))}.")
    changed = sorted(name for name, value in fields.items() if getattr(row, name) != value)
    for name in changed:
        setattr(row, name, fields[name])
    row.full_clean()
    if changed:
        row.save()
        event_record(kind=kind, subject=row, actor=actor, data={"fields": changed})
    return changed


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
