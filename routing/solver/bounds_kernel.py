"""Compiled completion bounds: the most that any continuation of a route can still bring.

A backward recursion over time for ng-routes with very small ng-sets, so small that every subset of
them has a row of its own in a table. A route forgets more than the labels of `pricing_kernel` do, so
the tables never promise too little.
"""

# mypy: disable-error-code="no-any-return, return-value"

from typing import NamedTuple

import numpy as np
from numba import njit

from .compiled import LOST, Day, Hours, done_at, hours_of, paid_at_end, rested_ready, time_cost
from .model import BREAK_CLOSE, BREAK_MINUTES, BREAK_OPEN, END, METRE_TICKS, NEVER, SHIFT_END, SHIFT_START, Ints


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
    most: Ints
    """[s, i, barred, t]; s = 1 with the break behind, bit n of `barred` = the n-th near job is barred."""


@njit(cache=True)
def no_bounds() -> Bounds:
    """Bounds that claim nothing."""
    return Bounds(np.int64(1), np.zeros((0, 0), np.int64), np.zeros((2, 0, 1, 0), np.int64))  # type: ignore[arg-type]


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
    shift: Ints
    """[i, j] steps of the drive, at least"""
    cost: Ints
    """[i, j] ticks of its metres"""
    barred: Ints
    """[i, j, f] what is barred at job j by a route that comes from job i with f barred; -1 if j itself is."""
    begin: Ints
    """[s] the first step at which a crew can be in this state of the break."""
    end: Ints
    """[s] the step after the last one."""


@njit(cache=True, nogil=True)
def completion_bounds(day: Day, root: Root, reduced: Ints, jobs: Ints, near: Ints, grain: int) -> tuple[Bounds, int]:
    """(bounds, the most ticks of any route). Every job must take at least one step on site.

    `reduced` are the jobs' gains less their prices. Steps are worked through from the last one, in
    blocks, so that the innermost loops run over neighbouring cells.
    """
    grid = _grid(day, root, jobs, near, grain)
    shape = (2, len(jobs), 1 << near.shape[1], grid.steps)
    most, to = np.full(shape, LOST, np.int64), np.full(shape, LOST, np.int64)
    window = np.empty(grid.block, np.int64)
    for low in range((grid.steps - 1) // grid.block * grid.block, -1, -grid.block):
        for s in range(1, -1, -1):
            begin, end = max(low, grid.begin[s]), min(low + grid.block, grid.end[s])
            if begin < end:
                _arrive(day, root.crew, grid, reduced, jobs, s, begin, end, most, to)
        for s in range(1, -1, -1):
            begin, end = max(low, grid.begin[s]), min(low + grid.block, grid.end[s])
            if begin < end:
                for i in range(len(jobs)):
                    _leave(day, root.crew, grid, jobs, s, i, begin, end, window, most, to)
    ceiling = _most_from_root(day, root, jobs, grain, to)
    return Bounds(grain, near, most), ceiling + root.ticks if ceiling > LOST else LOST


@njit(cache=True)
def _grid(day: Day, root: Root, jobs: Ints, near: Ints, grain: int) -> Grid:
    count, crew, service = len(jobs), day.crew[root.crew], NEVER
    zero, steps = crew[SHIFT_START], (crew[SHIFT_END] - crew[SHIFT_START]) // grain + 1
    shift, cost = np.empty((count, count), np.int64), np.empty((count, count), np.int64)
    for i in range(count):
        service = min(service, day.service[root.crew, jobs[i]])
        for j in range(count):
            here, there = day.job_place[jobs[i]], day.job_place[jobs[j]]
            shift[i, j] = day.minutes[here, there] // grain if i != j else NEVER
            cost[i, j] = day.metres[here, there] * crew[METRE_TICKS]
    begin, end = np.zeros(2, np.int64), np.full(2, steps, np.int64)
    if crew[BREAK_OPEN] < NEVER:
        rested = (crew[BREAK_OPEN] - zero) // grain + crew[BREAK_MINUTES] // grain
        begin[1] = max(0, min(rested, (root.rested - zero) // grain))
        end[0] = max(0, min(steps, (crew[BREAK_CLOSE] - zero) // grain + 1))
    else:
        end[1] = 0
    return Grid(grain, steps, max(1, min(steps, service // grain)), shift, cost, _barred_next(near), begin, end)


@njit(cache=True)
def _barred_next(near: Ints) -> Ints:
    """What `Grid.barred` says."""
    count, size = near.shape
    barred = np.zeros((count, count, 1 << size), np.int64)
    for i in range(count):
        for j in range(count):
            for f in range(1 << size):
                kept = 0
                for n in range(size):
                    if near[j, n] >= 0 and (near[j, n] == i or _is_barred(near, i, f, near[j, n])):
                        kept |= 1 << n
                barred[i, j, f] = -1 if _is_barred(near, i, f, j) else kept
    return barred


@njit(cache=True)
def _is_barred(near: Ints, i: int, f: int, job: int) -> bool:
    for n in range(near.shape[1]):  # noqa: SIM110 - a generator would not compile
        if near[i, n] == job and f >> n & 1:
            return True
    return False


@njit(cache=True)
def _arrive(
    day: Day, k: int, grid: Grid, reduced: Ints, jobs: Ints, s: int, begin: int, end: int, most: Ints, to: Ints
) -> None:
    """`to`: most ticks of a crew that is ready at a job, for the steps of a block."""
    zero, opens, closes = day.crew[k, SHIFT_START], day.window_open, day.window_close
    for j in range(len(jobs)):
        minutes = day.service[k, jobs[j]]
        for t in range(begin, end):
            done = (done_at(opens, closes, jobs[j], minutes, zero + t * grid.grain) - zero) // grid.grain
            if done >= grid.steps:
                break
            for f in range(most.shape[2]):
                if most[s, j, f, done] > LOST:
                    to[s, j, f, t] = most[s, j, f, done] + reduced[jobs[j]]


@njit(cache=True)
def _leave(
    day: Day, k: int, grid: Grid, jobs: Ints, s: int, i: int, begin: int, end: int, window: Ints, most: Ints, to: Ints
) -> None:
    """`most` after one job for the steps of a block: the route ends, or goes on, or the crew has its break first."""
    hours, cells = hours_of(day, k), to.reshape(-1)
    breaks = s == 0 and hours.break_open < NEVER
    opens, pause = (hours.break_open - hours.start) // grid.grain, hours.break_minutes // grid.grain
    place, home = day.job_place[jobs[i]], day.crew[k, END]
    drive, cost = day.minutes[place, home], day.metres[place, home] * day.crew[k, METRE_TICKS]
    for t in range(begin, end):
        now = hours.start + t * grid.grain
        ticks = finish_ticks(hours, NEVER if s else now, now if s else NEVER, drive, cost)
        for f in range(most.shape[2]):
            most[s, i, f, t] = max(LOST, ticks)
    for f in range(most.shape[2]):
        for t in range(begin, end):
            window[t - begin] = most[s, i, f, t]
            if breaks and t >= opens and t + pause < grid.steps:
                window[t - begin] = max(window[t - begin], most[1, i, f, t + pause])
        for j in range(len(jobs)):
            shift, cost, g = grid.shift[i, j], grid.cost[i, j], grid.barred[i, j, f]
            if g < 0 or begin + shift >= grid.steps:
                continue
            row = ((s * len(jobs) + j) * most.shape[2] + g) * grid.steps
            _raise(window, 0, cells, row + begin + shift, min(end, grid.steps - shift) - begin, cost)
            if breaks and begin < opens:
                row = ((len(jobs) + j) * most.shape[2] + g) * grid.steps
                waits = max(begin, min(end, opens - shift))
                if waits > begin and opens + pause < grid.steps:
                    _raise_all(window, waits - begin, cells[row + opens + pause] - cost)
                last = min(end, opens, grid.steps - shift - pause)
                _raise(window, waits - begin, cells, row + waits + shift + pause, last - waits, cost)
        for t in range(begin, end):
            most[s, i, f, t] = window[t - begin]


@njit(cache=True)
def _raise(window: Ints, at: int, cells: Ints, first: int, size: int, cost: int) -> None:
    """Raise neighbouring cells to those of a row less a cost. Indices without a sign let it be vectorised."""
    here, there = np.uint64(at), np.uint64(first)
    for t in range(np.uint64(max(0, size))):
        window[here + t] = max(window[here + t], cells[there + t] - cost)


@njit(cache=True)
def _raise_all(window: Ints, size: int, ticks: int) -> None:
    """Raise the first cells to the same ticks."""
    for t in range(np.uint64(size)):
        window[t] = max(window[t], ticks)


@njit(cache=True)
def _most_from_root(day: Day, root: Root, jobs: Ints, grain: int, to: Ints) -> int:
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
            at = (ready - hours.start) // grain
            if at < steps and to[s, j, 0, at] > LOST:
                most = max(most, to[s, j, 0, at] - cost)
    return most
