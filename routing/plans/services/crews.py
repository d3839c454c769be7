"""Days on which a crew is off or works other hours than usual."""

from datetime import date
from typing import Any

from django.db import transaction

from routing.plans.models import Crew, ShiftException
from shared.events.services import event_record


@transaction.atomic
def shift_exception_set(
    *,
    crew: Crew,
    work_date: date,
    is_off: bool,
    hours: dict[str, Any] | None = None,
    reason: str = "",
    actor: Any = None,
) -> ShiftException:
    """Give a crew a day off, or other hours; replaces what was set for that day before.

    `hours` holds fields of ShiftHours that differ from the crew's usual ones (of that weekday; the defaults where it
    has none). Raises ValidationError for hours out of order.
    """
    usual = crew.patterns.filter(weekday=work_date.weekday()).first()
    exception = crew.exceptions.filter(work_date=work_date).first() or ShiftException(crew=crew, work_date=work_date)
    for name in _HOURS if usual is not None else ():
        setattr(exception, name, getattr(usual, name))
    for name, value in (hours or {}).items():
        setattr(exception, name, value)
    exception.is_off, exception.reason = is_off, reason
    exception.full_clean()
    exception.save()
    event_record(kind=_kind(is_off), subject=crew, actor=actor, reason=reason, data={"day": work_date.isoformat()})
    return exception


@transaction.atomic
def shift_exception_clear(*, crew: Crew, work_date: date, actor: Any = None) -> None:
    """Back to the crew's usual hours on that day."""
    deleted, _rows = crew.exceptions.filter(work_date=work_date).delete()
    if deleted:
        event_record(kind="crew.usual_hours", subject=crew, actor=actor, data={"day": work_date.isoformat()})


_HOURS = (
    "start_minute",
    "end_minute",
    "break_minutes",
    "break_from_minute",
    "break_until_minute",
    "break_is_paid",
    "overtime_after_minutes",
)


def _kind(is_off: bool) -> str:
    return "crew.day_off" if is_off else "crew.other_hours"
