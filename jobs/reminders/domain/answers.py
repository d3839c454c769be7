"""What a homeowner may answer to a reminder, and which days to offer."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from dateutil.relativedelta import relativedelta

MOST_DAYS = 4
# What an hour is worth that would stay free, in driving; chosen by tests.benchmarks.reminders_spring, no source.
LATER_METRES_PER_WEEK, SCRAP_METRES = 2_000, 2_000
EMPTY_DAY_METRES = 6_000  # about half the way across a town and back; ours, no source
SHORTEST_MINUTES = 75  # a rest that is shorter stays empty; ours, no source
ASK_AGAIN_MONTHS = (1, 3, 6, 12)


@dataclass(frozen=True, slots=True)
class DayNear:
    """A working day ahead: how far the nearest stop is (None: nobody goes out yet), and the free crew-minutes."""

    work_date: date
    nearest_metres: int | None
    free_minutes: int


def days_to_offer(days: Sequence[DayNear], *, needed_minutes: int, most: int = MOST_DAYS) -> list[DayNear]:
    """The days with room that are best filled by this job, in the order of the calendar.

    A crew near counts, and so does being early, since an hour that stays free is lost; a day on which the job would
    leave a rest too short for another one counts less. A day on which nobody goes out yet counts as EMPTY_DAY_METRES.
    """
    with_room = [day for day in days if day.free_minutes >= needed_minutes]
    first = min((day.work_date for day in with_room), default=date.min)
    ranked = sorted(with_room, key=lambda day: (_cost_metres(day, first, needed_minutes), day.work_date))
    return sorted(ranked[:most], key=lambda day: day.work_date)


def _cost_metres(day: DayNear, first: date, needed_minutes: int) -> float:
    """What speaks against a day, in metres of driving."""
    metres = EMPTY_DAY_METRES if day.nearest_metres is None else day.nearest_metres
    weeks_later = (day.work_date - first).days / 7
    has_scrap = 0 < day.free_minutes - needed_minutes < SHORTEST_MINUTES
    return metres + LATER_METRES_PER_WEEK * weeks_later + SCRAP_METRES * has_scrap


def ask_again_on(today: date, months: int) -> date:
    """The day from which the person may be written to again. Raises ValueError for months that are not offered."""
    if months not in ASK_AGAIN_MONTHS:
        raise ValueError("This is not among the choices.")
    return today + relativedelta(months=months)
