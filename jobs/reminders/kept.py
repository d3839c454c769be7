"""What a reminder was about, kept with it: the fact that its message rests on, and the walls that a yes is for.

Walls are read again, limits move and forecasts are made anew while somebody thinks it over. The answer's page goes by
what was written.
"""

from datetime import datetime
from typing import Any

from jobs.reminders.domain.due import CHALK, Cause
from jobs.reminders.domain.kept_cause import cause_json, cause_kept
from jobs.reminders.expected import Thing
from jobs.reminders.models import Reminder
from jobs.reminders.selectors import DueItem
from shared.outbox.models import Message


def reminder_keep(item: DueItem, message: Message, *, at: datetime, was_drawn: bool, by: Any = None) -> Reminder:
    """The row that says that a message is about a due thing."""
    reminder = Reminder.objects.create(
        property_id=item.property_id,
        kind=item.kind,
        due_on=item.due_on,
        reason=item.reason[:200],
        cause=cause_json(item.cause),
        message=message,
        was_drawn=was_drawn,
        created_at=at,
        created_by=by,
    )
    if item.wall_ids:
        reminder.walls.set(item.wall_ids)
    return reminder


def thing_of(reminder: Reminder) -> Thing:
    """Of a reminder about chalk from before its walls were kept nobody knows which they are."""
    walls = tuple(sorted(wall.pk for wall in reminder.walls.all())) if reminder.kind == CHALK else ()
    return Thing(reminder.property_id, reminder.kind, walls)


def cause_of(reminder: Reminder) -> Cause | None:
    """The fact, as it was; None where it was not kept yet."""
    return cause_kept(reminder.cause) if reminder.cause else None
