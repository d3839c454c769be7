"""Compiled pricing: the best routes of one crew when each job has a price of its own.

Forward labels in order of time over ng-routes (Baldacci, Mingozzi and Roberti, "New Route Relaxation
and Pricing Strategies for the Vehicle Routing Problem", Operations Research 2011). A label is a
partial route: last job, time, whether the break is behind, load, ticks so far without the cost of
time, and the jobs that it may not visit again. Time is charged at the end only, since overtime and
the end of the shift depend on the return alone.

`completion_bounds` says how much any continuation can still bring, by a backward recursion over
time that forgets which jobs were visited. A label that cannot reach the target is dropped.
"""

# mypy: disable-error-code="no-any-return, return-value"

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .compiled import LOST, Day, end_drive, paid_at_end, rested_ready, time_cost, work
from .model import (
    BREAK_CLOSE,
    BREAK_MINUTES,
    BREAK_OPEN,
    END,
    METRE_TICKS,
    NEVER,
    SHIFT_END,
    SHIFT_START,
    Ints,
)

Words = NDArray[np.uint64]
DONE, TOO_MANY_LABELS, TOO_MANY_ROUTES = 0, 1, 2
TO_FREER, TO_SAME, TO_ANY = 0, 1, 2
HASHES = 1 << 18


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


class Labels(NamedTuple):
    """What a pricing run leaves behind; `job` is -1 at the root."""

    status: int
    job: Ints
    parent: Ints
    visited: Words
    ends: Ints
    """Labels from which a route to the end reaches the target."""
    worth: Ints
    """The ticks of these routes."""


@njit(cache=True)
def completion_bounds(day: Day, root: Root, reduced: Ints, jobs: Ints, grain: int) -> tuple[Ints, int]:
    """([i, time, rested] most ticks after finishing jobs[i] then, the most ticks of any route).

    `reduced` are the jobs' gains less their prices. Time is in steps of `grain` minutes from the
    shift's start, rounded down, which can only raise the bound; every job must take at least one
    step on site.
    """
    k, count = root.crew, len(jobs)
    crew = day.crew[k]
    zero, steps = crew[SHIFT_START], (crew[SHIFT_END] - crew[SHIFT_START]) // grain + 1
    finish_in = np.full((count, steps, 2), LOST, np.int64)
    ready_in = np.full((count, steps + 1, 2), LOST, np.int64)
    states = 2 if crew[BREAK_OPEN] < NEVER else 1
    drives, costs = _tables(day, k, root.place, jobs)
    hops = drives // grain
    for t in range(steps - 1, -1, -1):
        now = zero + t * grain
        for j in range(count):
            done = (work(day, k, jobs[j], now) - zero) // grain
            if done < steps:
                for s in range(states):
                    if finish_in[j, done, s] > LOST:
                        ready_in[j, t, s] = finish_in[j, done, s] + reduced[jobs[j]]
        for i in range(count):
            place = day.job_place[jobs[i]]
            fresh = _finish(day, k, place, now, NEVER)
            rested = _finish(day, k, place, NEVER, now) if states == 2 else LOST
            for j in range(count):
                at = t + hops[i, j]
                if at < steps:
                    fresh = max(fresh, ready_in[j, at, 0] - costs[i, j])
                    rested = max(rested, ready_in[j, at, 1] - costs[i, j])
            if states == 2 and now <= crew[BREAK_CLOSE]:
                fresh = max(fresh, _resting(crew, drives[i], costs[i], ready_in, now, zero, grain, steps))
            finish_in[i, t, 0], finish_in[i, t, 1] = max(fresh, LOST), max(rested, LOST)
    most = LOST
    for s in range(states):
        now = root.fresh if s == 0 else root.rested
        if now <= crew[SHIFT_END]:
            ticks = _onward(day, k, root.place, drives[count], costs[count], ready_in, now, s == 1, zero, grain, steps)
            most = max(most, ticks)
    return finish_in, most + root.ticks if most > LOST else LOST


@njit(cache=True)
def _tables(day: Day, k: int, root_place: int, jobs: Ints) -> tuple[Ints, Ints]:
    """Drive minutes and driving cost between the jobs; the last row is the root."""
    count = len(jobs)
    drives = np.empty((count + 1, count), np.int64)
    costs = np.empty((count + 1, count), np.int64)
    for i in range(count + 1):
        place = root_place if i == count else day.job_place[jobs[i]]
        for j in range(count):
            there = day.job_place[jobs[j]]
            drives[i, j] = day.minutes[place, there] if i != j else NEVER
            costs[i, j] = day.metres[place, there] * day.crew[k, METRE_TICKS]
    return drives, costs


@njit(cache=True)
def _finish(day: Day, k: int, place: int, fresh: int, rested: int) -> int:
    """Ticks of ending the route from a place; LOST where that breaks a rule."""
    crew = day.crew[k]
    paid = paid_at_end(crew, fresh, rested, end_drive(day, k, place))
    if paid < 0:
        return LOST
    return -time_cost(crew, paid) - crew[METRE_TICKS] * day.metres[place, crew[END]]


@njit(cache=True)
def _resting(
    crew: Ints,
    drives: Ints,
    costs: Ints,
    ready_in: Ints,
    now: int,
    zero: int,
    grain: int,
    steps: int,
) -> int:
    """Most ticks from a place at a time if the break is taken around the next drive."""
    most = LOST
    for j in range(len(drives)):
        at = (rested_ready(crew, now, NEVER, drives[j]) - zero) // grain
        if at < steps:
            most = max(most, ready_in[j, at, 1] - costs[j])
    return most


@njit(cache=True)
def _onward(
    day: Day,
    k: int,
    place: int,
    drives: Ints,
    costs: Ints,
    ready_in: Ints,
    now: int,
    rested: bool,
    zero: int,
    grain: int,
    steps: int,
) -> int:
    """Most ticks from a place at any minute, with the break behind or still to come."""
    crew = day.crew[k]
    most = _finish(day, k, place, NEVER if rested else now, now if rested else NEVER)
    for j in range(len(drives)):
        at = (now + drives[j] - zero) // grain
        if at < steps:
            most = max(most, ready_in[j, at, 1 if rested else 0] - costs[j])
    if not rested and crew[BREAK_OPEN] < NEVER:
        most = max(most, _resting(crew, drives, costs, ready_in, now, zero, grain, steps))
    return most


@njit(cache=True)
def price(
    day: Day,
    root: Root,
    reduced: Ints,
    jobs: Ints,
    keeps: Words,
    bounds: Ints,
    grain: int,
    target: int,
    yields: int,
    wanted: int,
    most_labels: int,
    most_routes: int,
) -> Labels:
    """All routes worth `target` ticks or more that no other one makes needless.

    `keeps[j]` are the jobs that a visit to j does not let the crew forget (its ng-set). `yields`
    says to which labels at the same job a label yields if they are as early, as light and as good:
    TO_FREER: those that may go wherever it may; no best route is lost. TO_SAME: those with the same
    jobs behind them; no set of jobs is lost, which is enumeration. TO_ANY: all; quick, loses routes.
    Where `wanted` is a job, only routes that hold it count, and `keeps` must never forget it.
    `bounds` has no rows where no completion bounds are known.
    """
    k = root.crew
    crew = day.crew[k]
    n_jobs, n_words, n_kinds = day.job_place.shape[0], keeps.shape[1], day.capacity.shape[1]
    zero, span = crew[SHIFT_START], crew[SHIFT_END] - crew[SHIFT_START]
    bucket_minutes = span // 8192 + 1
    first_in = np.full(span // bucket_minutes + 1, -1, np.int64)
    chain_of = np.full(HASHES if yields == TO_SAME else n_jobs + 1, -1, np.int64)
    time, ticks = np.empty(most_labels, np.int64), np.empty(most_labels, np.int64)
    rested, job_of = np.empty(most_labels, np.bool_), np.empty(most_labels, np.int64)
    parent, following = np.empty(most_labels, np.int64), np.empty(most_labels, np.int64)
    chained = np.empty(most_labels, np.int64)
    visited = np.empty((most_labels, n_words), np.uint64)
    load = np.empty((most_labels, n_kinds), np.int64)
    ends, worth = np.empty(most_routes, np.int64), np.empty(most_routes, np.int64)
    row = np.full(n_jobs, -1, np.int64)
    for i in range(len(jobs)):
        row[jobs[i]] = i
    bounded = bounds.shape[0] > 0
    count, found, status = 0, 0, DONE
    for s in range(2):
        when = root.fresh if s == 0 else root.rested
        if when > crew[SHIFT_END]:
            continue
        time[count], ticks[count], rested[count] = when, root.ticks, s == 1
        job_of[count], parent[count] = -1, -1
        visited[count, :] = 0
        load[count] = root.load
        bucket = (when - zero) // bucket_minutes
        following[count] = first_in[bucket]
        first_in[bucket] = count
        count += 1
    for bucket in range(len(first_in)):
        while first_in[bucket] >= 0 and status == DONE:
            label = first_in[bucket]
            first_in[bucket] = following[label]
            job, now, behind = job_of[label], time[label], rested[label]
            chain = _chain(job, visited[label], yields, n_jobs)
            beaten = False
            other = chain_of[chain]
            while other >= 0 and not beaten:
                if (
                    time[other] <= now
                    and ticks[other] >= ticks[label]
                    and (rested[other] or not behind)
                    and job_of[other] == job
                    and (wanted < 0 or _visited(visited[other], wanted) == _visited(visited[label], wanted))
                    and _covers(visited[other], visited[label], yields)
                ):
                    beaten = True
                    for r in range(n_kinds):
                        if load[other, r] > load[label, r]:
                            beaten = False
                other = chained[other]
            if beaten:
                continue
            chained[label] = chain_of[chain]
            chain_of[chain] = label
            place = root.place if job < 0 else day.job_place[job]
            if (job >= 0 or root.may_end) and (wanted < 0 or _visited(visited[label], wanted)):
                tail = _finish(day, k, place, NEVER if behind else now, now if behind else NEVER)
                if tail > LOST and ticks[label] + tail >= target:
                    if found == most_routes:
                        status = TOO_MANY_ROUTES
                        break
                    ends[found], worth[found] = label, ticks[label] + tail
                    found += 1
            if count + 2 * len(jobs) + 1 > most_labels:
                status = TOO_MANY_LABELS
                break
            if not behind and crew[BREAK_OPEN] < NEVER:
                rest_at = max(now, crew[BREAK_OPEN])
                over = rest_at + crew[BREAK_MINUTES]
                fits = rest_at <= crew[BREAK_CLOSE] and over <= crew[SHIFT_END]
                if fits and bounded and job >= 0:
                    most = bounds[row[job], (over - zero) // grain, 1]
                    fits = most > LOST and ticks[label] + most >= target
                if fits:
                    time[count], ticks[count], rested[count] = over, ticks[label], True
                    job_of[count], parent[count] = job, parent[label]
                    visited[count] = visited[label]
                    load[count] = load[label]
                    new_bucket = (over - zero) // bucket_minutes
                    following[count] = first_in[new_bucket]
                    first_in[new_bucket] = count
                    count += 1
            for i in range(len(jobs)):
                there = jobs[i]
                word, bit = there >> 6, np.uint64(1) << np.uint64(there & 63)
                if visited[label, word] & bit or day.minutes[place, day.job_place[there]] >= NEVER:
                    continue
                full = False
                for r in range(n_kinds):
                    if load[label, r] + day.uses[there, r] > day.capacity[k, r]:
                        full = True
                if full:
                    continue
                drive = day.minutes[place, day.job_place[there]]
                gained = reduced[there] - crew[METRE_TICKS] * day.metres[place, day.job_place[there]]
                for s in range(2):
                    ready = now + drive
                    if s == 1:
                        if behind or crew[BREAK_OPEN] >= NEVER:
                            break
                        ready = max(ready, crew[BREAK_OPEN])
                        if ready > crew[BREAK_CLOSE]:
                            break
                        ready += crew[BREAK_MINUTES]
                    done = work(day, k, there, ready)
                    if done > crew[SHIFT_END]:
                        continue
                    now_rested = behind or s == 1
                    if bounded:
                        at = (done - zero) // grain
                        most = bounds[row[there], at, 1 if now_rested else 0]
                        if most == LOST or ticks[label] + gained + most < target:
                            continue
                    time[count], ticks[count] = done, ticks[label] + gained
                    rested[count], job_of[count], parent[count] = now_rested, there, label
                    for w in range(n_words):
                        visited[count, w] = visited[label, w] & keeps[there, w]
                    visited[count, word] |= bit
                    for r in range(n_kinds):
                        load[count, r] = load[label, r] + day.uses[there, r]
                    new_bucket = (done - zero) // bucket_minutes
                    following[count] = first_in[new_bucket]
                    first_in[new_bucket] = count
                    count += 1
    return Labels(status, job_of[:count], parent[:count], visited[:count], ends[:found], worth[:found])


@njit(cache=True)
def _chain(job: int, visited: Words, yields: int, n_jobs: int) -> int:
    """Where the labels that may beat this one are kept."""
    if yields != TO_SAME:
        return np.int64(job if job >= 0 else n_jobs)
    mixed = np.uint64(job + 1)
    for w in range(len(visited)):
        mixed = (mixed ^ visited[w]) * np.uint64(0x9E3779B97F4A7C15)
        mixed ^= mixed >> np.uint64(29)
    return np.int64(mixed % np.uint64(HASHES))


@njit(cache=True)
def _visited(visited: Words, job: int) -> bool:
    return bool(visited[job >> 6] & (np.uint64(1) << np.uint64(job & 63)))


@njit(cache=True)
def _covers(mine: Words, its: Words, yields: int) -> bool:
    """Whether a label that must avoid `its` yields to one that must avoid `mine`."""
    if yields == TO_ANY:
        return True
    for w in range(len(mine)):
        if yields == TO_SAME and mine[w] != its[w]:
            return False
        if mine[w] & ~its[w]:
            return False
    return True


@njit(cache=True)
def skipping_excess(minutes: Ints, metres: Ints) -> Ints:
    """[p, 4] how far the tables break the triangle inequality around each place p.

    Columns: the most by which a drive a-c exceeds a-p-c in minutes, in minutes without the first
    leg, in minutes without the second leg, and in metres.
    """
    size = len(minutes)
    excess = np.zeros((size, 4), np.int64)
    for p in range(size):
        for a in range(size):
            if minutes[a, p] >= NEVER:
                continue
            for c in range(size):
                if minutes[p, c] >= NEVER:
                    continue
                direct = minutes[a, c]
                excess[p, 0] = max(excess[p, 0], direct - minutes[a, p] - minutes[p, c])
                excess[p, 1] = max(excess[p, 1], direct - minutes[p, c])
                excess[p, 2] = max(excess[p, 2], direct - minutes[a, p])
                excess[p, 3] = max(excess[p, 3], metres[a, c] - metres[a, p] - metres[p, c])
    return excess
