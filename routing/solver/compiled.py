"""Compiled arithmetic of routes: the timing recursion of `timing` on the arrays of `model`.

Everything is int64, so results are exact. A crew's state along a route is a pair of earliest times,
one with the break still to come and one with it behind; NEVER stands for "cannot be".
"""

# mypy: disable-error-code="no-any-return, return-value"

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .model import (
    BREAK_CLOSE,
    BREAK_MINUTES,
    BREAK_OPEN,
    BREAK_UNPAID,
    MINUTE_TICKS,
    NEVER,
    OVERTIME_AFTER,
    OVERTIME_TICKS,
    SHIFT_END,
    SHIFT_START,
    Ints,
    Model,
)

LOST = -(10**18)
"""The value of what keeps no rules."""


class Day(NamedTuple):
    """The arrays that compiled code needs; see `model.Model` for their axes."""

    minutes: Ints
    metres: Ints
    job_place: Ints
    window_open: Ints
    window_close: Ints
    uses: Ints
    capacity: Ints
    allowed: NDArray[np.bool_]
    service: Ints
    gain: Ints
    crew: Ints


def day_of(model: Model, gain: Ints) -> Day:
    """The arrays of a model, with these gains (ticks, [k, j])."""
    return Day(
        model.minutes,
        model.metres,
        model.job_place,
        model.window_open,
        model.window_close,
        model.uses,
        model.capacity,
        model.allowed,
        model.service,
        np.ascontiguousarray(gain),
        model.crew,
    )


class Hours(NamedTuple):
    """A crew's day as plain numbers.

    What is called millions of times takes these: a whole Day, or a row of `crew` as an array of its own,
    costs more to hand on (in counted references) than the work that is then done with it.
    """

    start: int
    end: int
    break_open: int
    break_close: int
    break_minutes: int
    break_unpaid: int
    minute_ticks: int
    overtime_after: int
    overtime_ticks: int


@njit(cache=True)
def hours_of(day: Day, k: int) -> Hours:
    """The hours of crew k."""
    return Hours(
        day.crew[k, SHIFT_START],
        day.crew[k, SHIFT_END],
        day.crew[k, BREAK_OPEN],
        day.crew[k, BREAK_CLOSE],
        day.crew[k, BREAK_MINUTES],
        day.crew[k, BREAK_UNPAID],
        day.crew[k, MINUTE_TICKS],
        day.crew[k, OVERTIME_AFTER],
        day.crew[k, OVERTIME_TICKS],
    )


@njit(cache=True)
def done_at(opens: Ints, closes: Ints, job: int, minutes: int, ready: int) -> int:
    """When work of so many minutes that begins in one of the job's windows, from `ready` on, is done.

    NEVER where no window is left.
    """
    if ready >= NEVER:
        return NEVER
    for w in range(opens.shape[1]):
        if ready <= closes[job, w]:
            return min(max(ready, opens[job, w]) + minutes, NEVER)
    return NEVER


@njit(cache=True)
def rested_ready(hours: Hours, fresh: int, rested: int, drive: int) -> int:
    """When a crew with its break behind it can be ready at the end of a drive."""
    ready = rested + drive
    if fresh < NEVER:
        before = max(fresh, hours.break_open)
        if before <= hours.break_close:
            ready = min(ready, before + hours.break_minutes + drive)
        after = max(fresh + drive, hours.break_open)
        if after <= hours.break_close:
            ready = min(ready, after + hours.break_minutes)
    return min(ready, NEVER)


@njit(cache=True)
def paid_at_end(hours: Hours, fresh: int, rested: int, drive: int) -> int:
    """Paid minutes after the drive to the end, or -1 where the day's rules cannot be kept."""
    back = fresh + drive
    if back < hours.break_open:
        return back - hours.start if back <= hours.end else -1
    back = rested_ready(hours, fresh, rested, drive)
    if back > hours.end:
        return -1
    return back - hours.start - hours.break_unpaid


@njit(cache=True)
def time_cost(hours: Hours, paid: int) -> int:
    """Ticks of the paid minutes, overtime included."""
    return hours.minute_ticks * paid + hours.overtime_ticks * max(0, paid - hours.overtime_after)


@njit(cache=True)
def prefix_state(day: Day, k: int, start: int, prefix: Ints) -> tuple[int, int, int, int]:
    """(fresh, rested, place, metres) after the fixed first stops."""
    hours = hours_of(day, k)
    fresh, rested, place, metres = hours.start, NEVER, start, 0
    for job in prefix:
        there = day.job_place[job]
        drive = day.minutes[place, there]
        ready = rested_ready(hours, fresh, rested, drive)
        fresh = done_at(day.window_open, day.window_close, job, day.service[k, job], fresh + drive)
        rested = done_at(day.window_open, day.window_close, job, day.service[k, job], ready)
        metres += day.metres[place, there]
        place = there
    return fresh, rested, place, metres
