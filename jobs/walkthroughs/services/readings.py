from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.customers.models import Wall
from jobs.walkthroughs.domain import FIRST_READ_ON, is_on_scale
from jobs.walkthroughs.models import ChalkReading
from shared.background.services import enqueue
from shared.errors import Refused
from shared.events.services import event_record


@transaction.atomic
def reading_record(*, wall: Wall, **fields: Any) -> ChalkReading:
    """Write down the chalk found on a wall as `reading_store` does; its property is forecast in the background."""
    row = reading_store(wall=wall, **fields)
    enqueue("chalking.forecast_property", property_id=wall.property_id)
    return row


def reading_store(
    *,
    wall: Wall,
    reading: Decimal,
    read_on: date,
    today: date,
    days_since_rain: int | None = None,
    note: str = "",
    actor: Any = None,
) -> ChalkReading:
    """The row of a reading on our field scale, inside the caller's transaction. A correction is a new reading.

    Raises Refused for a reading off the scale or a day that cannot be, ValidationError for other values.
    """
    if not is_on_scale(reading):
        raise Refused(_("A chalk reading is 0 to 5 in half steps."), reading=str(reading))
    require_read_on(read_on, today=today)
    row = ChalkReading(
        wall=wall, read_on=read_on, reading=reading, days_since_rain=days_since_rain, note=note, read_by=actor
    )
    row.full_clean(exclude=["wall", "read_by"])
    row.save()
    event_record(kind="chalk.read", subject=wall, actor=actor, data={"reading": str(reading)})
    return row


def require_read_on(day: date, *, today: date) -> None:
    """A wall is tested today or was once. Raises Refused; readings stay, so a slip of the year would stay as well."""
    if day > today:
        raise Refused(_("A reading cannot be of a day that has not come yet."), read_on=day.isoformat())
    if day < FIRST_READ_ON:
        raise Refused(
            _("The year of the reading cannot be %(year)s. Write it with four digits.") % {"year": day.year},
            read_on=day.isoformat(),
        )
