"""What a homeowner may answer to a reminder, and which days to offer."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from dateutil.relativedelta import relativedelta

MOST_DAYS = 4
ASK_AGAIN_MONTHS = (1, 3, 6, 12)


@dataclass(frozen=True, slots=True)
class DayNear:
    """A working day ahead: how far the nearest stop is (None: nobody goes out yet), and the free crew-minutes."""

    work_date: date
    nearest_metres: int | None
    free_minutes: int


def days_to_offer(days: Sequence[DayNear], *, needed_minutes: int, most: int = MOST_DAYS) -> list[DayNear]:
    """The days with room on which a crew is nearest, in the order of the calendar.

    Days on which nobody goes out yet come after those with a crew near, the earlier first.
    """
    with_room = [day for day in days if day.free_minutes >= needed_minutes]
    far = max((day.nearest_metres or 0 for day in with_room), default=0) + 1
    ranked = sorted(with_room, key=lambda day: (_metres(day, far), day.work_date))
    return sorted(ranked[:most], key=lambda day: day.work_date)


def ask_again_on(today: date, months: int) -> date:
    """The day from which the person may be written to again. Raises ValueError for months that are not offered."""
    if months not in ASK_AGAIN_MONTHS:
        raise ValueError("This is not among the choices.")
    return today + relativedelta(months=months)


def _metres(day: DayNear, far: int) -> int:
    return far if day.nearest_metres is None else day.nearest_metres
