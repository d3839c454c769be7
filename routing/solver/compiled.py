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
    END,
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


@njit(cache=True)
def begin(day: Day, job: int, ready: int) -> int:
    """First minute from `ready` on at which work may begin; NEVER where no window is left."""
    for w in range(day.window_open.shape[1]):
        if ready <= day.window_close[job, w]:
            return max(ready, day.window_open[job, w])
    return NEVER


@njit(cache=True)
def rested_ready(crew: Ints, fresh: int, rested: int, drive: int) -> int:
    """When a crew with its break behind it can be ready at the end of a drive."""
    ready = rested + drive
    if fresh < NEVER:
        before = max(fresh, crew[BREAK_OPEN])
        if before <= crew[BREAK_CLOSE]:
            ready = min(ready, before + crew[BREAK_MINUTES] + drive)
        after = max(fresh + drive, crew[BREAK_OPEN])
        if after <= crew[BREAK_CLOSE]:
            ready = min(ready, after + crew[BREAK_MINUTES])
    return min(ready, NEVER)


@njit(cache=True)
def work(day: Day, k: int, job: int, ready: int) -> int:
    """When the job is finished if the crew is ready then."""
    if ready >= NEVER:
        return NEVER
    return min(begin(day, job, ready) + day.service[k, job], NEVER)


@njit(cache=True)
def step(day: Day, k: int, job: int, fresh: int, rested: int, drive: int) -> tuple[int, int]:
    """(fresh, rested) finish times after driving to a job and doing it."""
    ready = rested_ready(day.crew[k], fresh, rested, drive)
    return work(day, k, job, min(fresh + drive, NEVER)), work(day, k, job, ready)


@njit(cache=True)
def paid_at_end(crew: Ints, fresh: int, rested: int, drive: int) -> int:
    """Paid minutes after the drive to the end, or -1 where the day's rules cannot be kept."""
    back = fresh + drive
    if back < crew[BREAK_OPEN]:
        return back - crew[SHIFT_START] if back <= crew[SHIFT_END] else -1
    back = rested_ready(crew, fresh, rested, drive)
    if back > crew[SHIFT_END]:
        return -1
    return back - crew[SHIFT_START] - crew[BREAK_UNPAID]


@njit(cache=True)
def time_cost(crew: Ints, paid: int) -> int:
    """Ticks of the paid minutes, overtime included."""
    over = max(0, paid - crew[OVERTIME_AFTER])
    return crew[MINUTE_TICKS] * paid + crew[OVERTIME_TICKS] * over


@njit(cache=True)
def prefix_state(day: Day, k: int, start: int, prefix: Ints) -> tuple[int, int, int, int]:
    """(fresh, rested, place, metres) after the fixed first stops."""
    fresh, rested, place, metres = day.crew[k, SHIFT_START], NEVER, start, 0
    for job in prefix:
        there = day.job_place[job]
        fresh, rested = step(day, k, job, fresh, rested, day.minutes[place, there])
        metres += day.metres[place, there]
        place = there
    return fresh, rested, place, metres


@njit(cache=True)
def end_drive(day: Day, k: int, place: int) -> int:
    """Minutes from a place to the crew's end."""
    return day.minutes[place, day.crew[k, END]]
