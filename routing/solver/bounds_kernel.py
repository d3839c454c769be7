"""Compiled completion bounds: the most that any continuation of a route can still bring.

A backward recursion over time for ng-routes with very small ng-sets, so small that every subset of
them has a row of its own in a table. A route forgets more than the labels of `pricing_kernel` do, so
the tables never promise too little.

The tables hold whole multiples of a unit of ticks as float32, twice as many to a step of the processor as whole
ticks and compared by one instruction. The unit is such that every sum stays below 2^24, where float32 counts
exactly; gains are rounded up and costs down to it, so the bounds stay valid.
"""

# mypy: disable-error-code="no-any-return, return-value"

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .compiled import LOST, Day, Hours, done_at, hours_of, paid_at_end, rested_ready, time_cost
from .model import (
    BREAK_CLOSE,
    BREAK_MINUTES,
    BREAK_OPEN,
    END,
    METRE_TICKS,
    MINUTE_TICKS,
    NEVER,
    OVERTIME_TICKS,
    SHIFT_END,
    SHIFT_START,
    Ints,
)

Cells = NDArray[np.float32]
Flags = NDArray[np.bool_]
Indices = NDArray[np.int32]
NOTHING = np.float32(-(2.0**24))
"""The cell of what keeps no rules; each cell below half of it is one."""
LANES = 16
"""Neighbouring cells that are raised at once."""
MOST_UNITS = 2**22
"""Units that a route may win, or lose, at most."""


class Root(NamedTuple):
    """Where a crew's free choice begins: at its start, or after its fixed stops."""

    crew: int
    place: int
    fresh: int
    rested: int
    ticks: int
    """Worth of the fixed stops less metres and the cost of using the crew, in the prices at hand."""
    load: Ints
    may_end: bool
    """Whether the route may end here (only after fixed stops)."""


class Bounds(NamedTuple):
    """Most ticks after finishing the i-th job at step t, while some of its near jobs are barred.

    A step is `grain` minutes from the shift's start; times are rounded down to steps, which can only
    raise a bound. Without rows nothing is known.
    """

    grain: int
    near: Ints
    """[i, n] the jobs that a visit to job i does not let the crew forget, as indices; -1 for none."""
    unit: int
    """Ticks of a unit."""
    most: Cells
    """[s, i, barred, t] units; s = 1 with the break behind, bit n of `barred` = the n-th near job is barred."""


@njit(cache=True)
def no_bounds() -> Bounds:
    """Bounds that claim nothing."""
    return Bounds(np.int64(1), np.zeros((0, 0), np.int64), np.int64(1), np.zeros((2, 0, 1, 0), np.float32))  # type: ignore[arg-type]


@njit(cache=True)
def most_ticks(bounds: Bounds, rested: int, job: int, barred: int, step: int) -> int:
    """Most ticks after a job; LOST where nothing keeps the rules."""
    units = bounds.most[rested, job, barred, step]
    return np.int64(units) * bounds.unit if units > NOTHING / 2 else LOST


@njit(cache=True)
def finish_ticks(hours: Hours, fresh: int, rested: int, drive: int, cost: int) -> int:
    """Ticks of ending the route with a last drive that costs so much; LOST where that breaks a rule."""
    paid = paid_at_end(hours, fresh, rested, drive)
    return -time_cost(hours, paid) - cost if paid >= 0 else LOST


class Grid(NamedTuple):
    """Steps of time, and what driving from job to job takes; i, j = job, f = set of barred jobs."""

    grain: int
    steps: int
    block: int
    """Steps that the shortest job takes at least: what happens within a block depends on later blocks only."""
    shift: Indices
    """[i, j] steps of the drive, at least; not less than `steps` where there is none"""
    cost: Cells
    """[i, j] units of its metres, at most"""
    barred: Indices
    """[f, i, j] what is barred at job j by a route that comes from job i with f barred; -1 if j itself is."""
    alike: Indices
    """[i, n] the jobs j for which that is the same for all f (most have no near job in common), -1 after the last"""
    varying: Indices
    """[i, n] the others"""
    first: Ints
    """[i] the first step at which a crew can be done with job i."""
    begin: Ints
    """[s] the first step at which a crew can be in this state of the break."""
    end: Ints
    """[s] the step after the last one."""
    unit: int
    """Ticks of a unit."""


@njit(cache=True, nogil=True)
def completion_bounds(
    day: Day, root: Root, reduced: Ints, jobs: Ints, near: Ints, grain: int, stop: Flags
) -> tuple[Bounds, int]:
    """(bounds, the most ticks of any route); nothing to go by once `stop[0]` is set, from another thread.

    Every job must take at least one step on site.

    `reduced` are the jobs' gains less their prices. Steps are worked through from the last one, in
    blocks, so that the innermost loops run over neighbouring cells.
    """
    grid = _grid(day, root, jobs, near, grain, _unit(day, root.crew, reduced, jobs))
    shape = (2, len(jobs), 1 << near.shape[1], grid.steps + LANES)
    most, to = np.full(shape, NOTHING, np.float32), np.full(shape, NOTHING, np.float32)
    windows = np.empty((shape[2] + 1, grid.block + LANES), np.float32)
    last = np.full((2, len(jobs)), -1, np.int64)
    for low in range((grid.steps - 1) // grid.block * grid.block, -1, -grid.block):
        if stop[0]:
            break
        for s in range(1, -1, -1):
            begin, end = max(low, grid.begin[s]), min(low + grid.block, grid.end[s])
            if begin < end:
                _arrive(day, root.crew, grid, reduced, jobs, s, begin, end, most, to, last)
        for s in range(1, -1, -1):
            begin, end = max(low, grid.begin[s]), min(low + grid.block, grid.end[s])
            if begin < end:
                for i in range(len(jobs)):
                    if grid.first[i] < end:
                        _leave(day, root.crew, grid, jobs, s, i, begin, end, windows, most, to, last)
    ceiling = _most_from_root(day, root, jobs, grid, to)
    return Bounds(grain, near, grid.unit, most), ceiling + root.ticks if ceiling > LOST else LOST


@njit(cache=True)
def _unit(day: Day, k: int, reduced: Ints, jobs: Ints) -> int:
    """Ticks of a unit so that no route wins or loses more than MOST_UNITS units.

    No route wins more than all gains above their prices, or more than the largest of them at each of its stops. It
    loses by time and metres no more than a whole shift's worth, by the drives between its jobs at most as many longest
    drives as it has stops, and by jobs priced above their gain as much as it could win by the opposite.
    """
    crew, won, lost, largest, shortest = day.crew[k], 0, 0, 0, NEVER
    span = crew[SHIFT_END] - crew[SHIFT_START]
    for i in range(len(jobs)):
        won, lost = won + max(0, reduced[jobs[i]]), lost + max(0, -reduced[jobs[i]])
        largest = max(largest, abs(reduced[jobs[i]]))
        shortest = min(shortest, day.service[k, jobs[i]])
    stops = span // max(1, shortest) + 1
    hours = span * (crew[MINUTE_TICKS] + crew[OVERTIME_TICKS])
    metres = day.metres.max() * crew[METRE_TICKS] * (stops + 1)
    return (min(max(won, lost), largest * stops) + hours + metres) // MOST_UNITS + 1


@njit(cache=True)
def _grid(day: Day, root: Root, jobs: Ints, near: Ints, grain: int, unit: int) -> Grid:
    count, crew, service = len(jobs), day.crew[root.crew], NEVER
    zero, steps = crew[SHIFT_START], (crew[SHIFT_END] - crew[SHIFT_START]) // grain + 1
    shift, cost = np.empty((count, count), np.int32), np.empty((count, count), np.float32)
    barred, first = _barred_next(near), np.empty(count, np.int64)
    alike, varying = _sorted_by_variation(barred)
    for i in range(count):
        service = min(service, day.service[root.crew, jobs[i]])
        first[i] = _first_done(day, root, jobs, i, zero) // grain
        for j in range(count):
            here, there = day.job_place[jobs[i]], day.job_place[jobs[j]]
            shift[i, j] = min(steps, day.minutes[here, there] // grain) if i != j else steps
            cost[i, j] = day.metres[here, there] * crew[METRE_TICKS] // unit
    begin, end = np.zeros(2, np.int64), np.full(2, steps, np.int64)
    if crew[BREAK_OPEN] < NEVER:
        rested = (crew[BREAK_OPEN] - zero) // grain + crew[BREAK_MINUTES] // grain
        begin[1] = max(0, min(rested, (root.rested - zero) // grain))
        end[0] = max(0, min(steps, (crew[BREAK_CLOSE] - zero) // grain + 1))
    else:
        end[1] = 0
    return Grid(
        grain,
        steps,
        max(1, min(steps, service // grain)),
        shift,
        cost,
        barred,
        alike,
        varying,
        first,
        begin,
        end,
        unit,
    )


@njit(cache=True)
def _first_done(day: Day, root: Root, jobs: Ints, i: int, zero: int) -> int:
    """Minutes after the shift's start at which job i can be done, at the earliest, by the shortest drive to it."""
    there = day.job_place[jobs[i]]
    drive = day.minutes[root.place, there]
    for j in range(len(jobs)):
        if j != i:
            drive = min(drive, day.minutes[day.job_place[jobs[j]], there])
    ready = min(root.fresh, root.rested) + drive
    return done_at(day.window_open, day.window_close, jobs[i], day.service[root.crew, jobs[i]], ready) - zero


@njit(cache=True)
def _barred_next(near: Ints) -> Indices:
    """What `Grid.barred` says."""
    count, size = near.shape
    barred = np.zeros((1 << size, count, count), np.int32)
    for f in range(1 << size):
        for i in range(count):
            for j in range(count):
                kept = 0
                for n in range(size):
                    if near[j, n] >= 0 and (near[j, n] == i or _is_barred(near, i, f, near[j, n])):
                        kept |= 1 << n
                barred[f, i, j] = -1 if _is_barred(near, i, f, j) else kept
    return barred


@njit(cache=True)
def _sorted_by_variation(barred: Indices) -> tuple[Indices, Indices]:
    """What `Grid.alike` and `Grid.varying` say."""
    count = barred.shape[1]
    alike, varying = np.full((count, count + 1), -1, np.int32), np.full((count, count + 1), -1, np.int32)
    for i in range(count):
        same, other = 0, 0
        for j in range(count):
            if (barred[:, i, j] == barred[0, i, j]).all():
                alike[i, same], same = j, same + 1
            else:
                varying[i, other], other = j, other + 1
    return alike, varying


@njit(cache=True)
def _is_barred(near: Ints, i: int, f: int, job: int) -> bool:
    for n in range(near.shape[1]):  # noqa: SIM110 - a generator would not compile
        if near[i, n] == job and f >> n & 1:
            return True
    return False


@njit(cache=True)
def _arrive(
    day: Day,
    k: int,
    grid: Grid,
    reduced: Ints,
    jobs: Ints,
    s: int,
    begin: int,
    end: int,
    most: Cells,
    to: Cells,
    last: Ints,
) -> None:
    """`to`: most units of a crew that is ready at a job, for the steps of a block; `last` step with any, by job."""
    zero, opens, closes = day.crew[k, SHIFT_START], day.window_open, day.window_close
    for j in range(len(jobs)):
        minutes, won = day.service[k, jobs[j]], np.float32(-(-reduced[jobs[j]] // grid.unit))
        for t in range(begin, end):
            done = (done_at(opens, closes, jobs[j], minutes, zero + t * grid.grain) - zero) // grid.grain
            if done >= grid.steps:
                break
            for f in range(most.shape[2]):
                if most[s, j, f, done] > NOTHING / 2:
                    to[s, j, f, t] = most[s, j, f, done] + won
                    last[s, j] = max(last[s, j], t)


@njit(cache=True)
def _leave(
    day: Day,
    k: int,
    grid: Grid,
    jobs: Ints,
    s: int,
    i: int,
    begin: int,
    end: int,
    windows: Cells,
    most: Cells,
    to: Cells,
    last: Ints,
) -> None:
    """`most` after one job for the steps of a block: the route ends, or goes on, or the crew has its break first.

    The last of the `windows` is for what does not depend on what is barred; the others, one for each set of barred
    jobs, begin with it.
    """
    hours, cells, count, sets, steps = hours_of(day, k), to.reshape(-1), len(jobs), most.shape[2], grid.steps
    width = to.shape[3]
    breaks = s == 0 and hours.break_open < NEVER
    opens, pause = (hours.break_open - hours.start) // grid.grain, hours.break_minutes // grid.grain
    _end(day, hours, k, grid, jobs[i], s, begin, end, windows[sets])
    for f in range(sets, -1, -1):
        window = windows[f]
        if f < sets:
            window[:] = windows[sets]
            if breaks:
                for t in range(max(begin, opens), min(end, steps - pause)):
                    window[t - begin] = max(window[t - begin], most[1, i, f, t + pause])
        for j in grid.alike[i] if f == sets else grid.varying[i]:
            if j < 0:
                break
            shift, cost, barred = grid.shift[i, j], grid.cost[i, j], grid.barred[f % sets, i, j]
            if barred < 0 or begin + shift >= steps:
                continue
            row = ((s * count + j) * sets + barred) * width
            _raise(window, 0, cells, row + begin + shift, min(end, last[s, j] + 1 - shift) - begin, cost)
            if breaks and begin < opens:
                row = ((count + j) * sets + barred) * width
                waits = max(begin, min(end, opens - shift))
                if waits > begin and opens + pause < steps:
                    _raise_all(window, waits - begin, cells[row + opens + pause] - cost)
                until = min(end, opens, steps - shift - pause)
                _raise(window, waits - begin, cells, row + waits + shift + pause, until - waits, cost)
        if f < sets:
            most[s, i, f, begin:end] = window[: end - begin]


@njit(cache=True)
def _end(day: Day, hours: Hours, k: int, grid: Grid, job: int, s: int, begin: int, end: int, window: Cells) -> None:
    """The route ends after the job."""
    place, home = day.job_place[job], day.crew[k, END]
    drive, cost = day.minutes[place, home], day.metres[place, home] * day.crew[k, METRE_TICKS]
    for t in range(begin, end):
        now = hours.start + t * grid.grain
        ticks = finish_ticks(hours, NEVER if s else now, now if s else NEVER, drive, cost)
        window[t - begin] = np.float32(-(-ticks // grid.unit)) if ticks > LOST else NOTHING


@njit(cache=True)
def _raise(window: Cells, at: int, cells: Cells, first: int, size: int, cost: float) -> None:
    """Raise neighbouring cells to those of a row less a cost, in whole lanes.

    What the last lanes have too much is harmless: a row ends with cells of nothing, and a later step of a window can
    only be raised to what it may have. Indices without a sign and `np.maximum` let it be vectorised without a mask.
    """
    here, there = np.uint64(at), np.uint64(first)
    for t in range(np.uint64(max(0, size + LANES - 1) // LANES) * np.uint64(LANES)):
        window[here + t] = np.maximum(window[here + t], cells[there + t] - cost)


@njit(cache=True)
def _raise_all(window: Cells, size: int, units: float) -> None:
    """Raise the first cells to the same units."""
    for t in range(np.uint64(size)):
        window[t] = max(window[t], units)


@njit(cache=True)
def _most_from_root(day: Day, root: Root, jobs: Ints, grid: Grid, to: Cells) -> int:
    """Most ticks of any route from its first free choice on."""
    hours, steps, metre_ticks = hours_of(day, root.crew), to.shape[3], day.crew[root.crew, METRE_TICKS]
    most, home = LOST, day.crew[root.crew, END]
    if root.may_end:
        cost = day.metres[root.place, home] * metre_ticks
        most = finish_ticks(hours, root.fresh, root.rested, day.minutes[root.place, home], cost)
    for j in range(len(jobs)):
        there = day.job_place[jobs[j]]
        drive = day.minutes[root.place, there]
        cost = day.metres[root.place, there] * metre_ticks
        if drive >= NEVER:
            continue
        for s in range(2):
            ready = root.fresh + drive if s == 0 else rested_ready(hours, root.fresh, root.rested, drive)
            at = (ready - hours.start) // grid.grain
            if at < steps and to[s, j, 0, at] > NOTHING / 2:
                most = max(most, np.int64(to[s, j, 0, at]) * grid.unit - cost)
    return most
