"""Compiled large neighbourhood search: take some stops out, put jobs back greedily, maybe keep it.

One call makes a number of steps at one temperature. A step takes strings of neighbouring stops out
of a few routes and puts jobs back one by one at their best places, in an order drawn at random
(Christiaens and Vanden Berghe, "Slack Induction by String Removals", Transportation Science 2020,
adapted to optional stops). Worse routes are kept now and then (simulated annealing).
"""

# mypy: disable-error-code="arg-type, assignment, no-any-return"

from typing import NamedTuple

import numpy as np
from numba import njit

from .compiled import LOST, Day, Hours, done_at, hours_of, paid_at_end, rested_ready, time_cost
from .model import (
    END,
    FIXED_TICKS,
    METRE_TICKS,
    NEVER,
    PREFIX_LENGTH,
    START,
    Ints,
)

BLINK = 0.02
OPENING = 0.15
MOST_WAITING = 25
"""Jobs without a crew that a step tries to place, the nearest ones."""


class State(NamedTuple):
    """Routes with what is needed to judge a change quickly; k = crew, i = stop, r = capacity."""

    stops: Ints
    """[k, i] jobs in order"""
    length: Ints
    fresh: Ints
    """[k, i] earliest finish of stop i - 1 with the break to come; column 0 is the shift's start."""
    rested: Ints
    load: Ints
    """[k, r]"""
    paid: Ints
    idle: Ints
    """Paid minutes without driving, work or break."""
    value: Ints
    where: Ints
    """[j] the crew, or -1."""


@njit(cache=True)
def refresh(day: Day, state: State, k: int) -> bool:
    """Times, load and value of route k from its stops; False where a rule is broken."""
    hours, opens, closes = hours_of(day, k), day.window_open, day.window_close
    fresh, rested, place = hours.start, NEVER, day.crew[k, START]
    state.fresh[k, 0], state.rested[k, 0] = fresh, rested
    for r in range(day.capacity.shape[1]):
        state.load[k, r] = 0
    metres, gain, busy = 0, 0, 0
    for i in range(state.length[k]):
        job = state.stops[k, i]
        there = day.job_place[job]
        drive, minutes = day.minutes[place, there], day.service[k, job]
        ready = rested_ready(hours, fresh, rested, drive)
        fresh = done_at(opens, closes, job, minutes, fresh + drive)
        rested = done_at(opens, closes, job, minutes, ready)
        if fresh >= NEVER or not day.allowed[k, job]:
            return False
        metres += day.metres[place, there]
        busy += drive + minutes
        gain += day.gain[k, job]
        for r in range(day.capacity.shape[1]):
            state.load[k, r] += day.uses[job, r]
        state.fresh[k, i + 1], state.rested[k, i + 1] = fresh, rested
        place = there
    if state.length[k] == 0:
        state.paid[k], state.idle[k], state.value[k] = 0, 0, 0
        return True
    for r in range(day.capacity.shape[1]):
        if state.load[k, r] > day.capacity[k, r]:
            return False
    end = day.crew[k, END]
    paid = paid_at_end(hours, fresh, rested, day.minutes[place, end])
    metres += day.metres[place, end]
    state.paid[k] = paid
    state.idle[k] = paid - busy - day.minutes[place, end] - _paid_break(hours, paid)
    state.value[k] = gain - day.crew[k, FIXED_TICKS] - day.crew[k, METRE_TICKS] * metres - time_cost(hours, paid)
    return paid >= 0


@njit(cache=True)
def _paid_break(hours: Hours, paid: int) -> int:
    """Minutes of the break among the paid ones: a route that is back after the break's opening takes it."""
    taken = hours.start + paid + hours.break_unpaid >= hours.break_open + hours.break_minutes
    return hours.break_minutes - hours.break_unpaid if taken else 0


@njit(cache=True)
def _paid_with(day: Day, hours: Hours, state: State, k: int, job: int, at: int) -> int:
    """Paid minutes with the job put in before stop `at`, or -1."""
    opens, closes = day.window_open, day.window_close
    place = day.crew[k, START] if at == 0 else day.job_place[state.stops[k, at - 1]]
    fresh, rested = state.fresh[k, at], state.rested[k, at]
    for i in range(at - 1, state.length[k]):
        next_job = job if i < at else state.stops[k, i]
        there = day.job_place[next_job]
        drive, minutes = day.minutes[place, there], day.service[k, next_job]
        ready = rested_ready(hours, fresh, rested, drive)
        fresh = done_at(opens, closes, next_job, minutes, fresh + drive)
        rested = done_at(opens, closes, next_job, minutes, ready)
        if fresh >= NEVER:
            return -1
        place = there
    return paid_at_end(hours, fresh, rested, day.minutes[place, day.crew[k, END]])


@njit(cache=True)
def _best_place(day: Day, state: State, k: int, job: int, least: int) -> tuple[int, int]:
    """(ticks won, position) of the best place on route k that wins more than `least`.

    The added minutes less those that the crew stood idle are paid at least, whatever the windows; most
    places are ruled out by that before their times are worked out. A tick for each added minute, far less than
    a cent, decides between places that are worth the same: what is compact leaves room for more.
    """
    best, best_at = least, -1
    if not day.allowed[k, job] or state.length[k] + 1 >= state.stops.shape[1]:
        return best, best_at
    if state.length[k] < day.crew[k, PREFIX_LENGTH]:
        return best, best_at
    for r in range(day.capacity.shape[1]):
        if state.load[k, r] + day.uses[job, r] > day.capacity[k, r]:
            return best, best_at
    start, end, metre_ticks = day.crew[k, START], day.crew[k, END], day.crew[k, METRE_TICKS]
    hours, here, length = hours_of(day, k), day.job_place[job], state.length[k]
    flat = day.gain[k, job] - (day.crew[k, FIXED_TICKS] if length == 0 else 0)
    cost_now = time_cost(hours, state.paid[k]) if length else 0
    for at in range(day.crew[k, PREFIX_LENGTH], length + 1):
        before = start if at == 0 else day.job_place[state.stops[k, at - 1]]
        after = end if at == length else day.job_place[state.stops[k, at]]
        if day.minutes[before, here] >= NEVER or day.minutes[here, after] >= NEVER:
            continue
        metres = day.metres[before, here] + day.metres[here, after]
        minutes = day.minutes[before, here] + day.service[k, job] + day.minutes[here, after]
        if length:
            metres -= day.metres[before, after]
            minutes -= day.minutes[before, after]
        ticks = flat - metre_ticks * metres - minutes
        least_paid = state.paid[k] + max(0, minutes - state.idle[k])
        if ticks - time_cost(hours, least_paid) + cost_now <= best or np.random.random() < BLINK:
            continue
        paid = _paid_with(day, hours, state, k, job, at)
        if paid >= 0 and ticks - time_cost(hours, paid) + cost_now > best:
            best, best_at = ticks - time_cost(hours, paid) + cost_now, at
    return best, best_at


@njit(cache=True)
def _put_in(day: Day, state: State, k: int, job: int, at: int) -> None:
    for i in range(state.length[k], at, -1):
        state.stops[k, i] = state.stops[k, i - 1]
    state.stops[k, at] = job
    state.length[k] += 1
    state.where[job] = k
    refresh(day, state, k)


@njit(cache=True)
def _take_out(day: Day, state: State, k: int, at: int, count: int) -> bool:
    """Take `count` stops from position `at` out; False where the rest then breaks a rule."""
    for i in range(at, at + count):
        state.where[state.stops[k, i]] = -1
    for i in range(at, state.length[k] - count):
        state.stops[k, i] = state.stops[k, i + count]
    state.length[k] -= count
    return refresh(day, state, k)


@njit(cache=True)
def _copy_route(source: State, target: State, k: int) -> None:
    for i in range(source.length[k]):
        target.stops[k, i] = source.stops[k, i]
    for i in range(source.length[k] + 1):
        target.fresh[k, i], target.rested[k, i] = source.fresh[k, i], source.rested[k, i]
    for r in range(source.load.shape[1]):
        target.load[k, r] = source.load[k, r]
    target.length[k], target.paid[k] = source.length[k], source.paid[k]
    target.idle[k], target.value[k] = source.idle[k], source.value[k]


@njit(cache=True)
def _restore(saved: State, state: State, touched: Ints, count: int) -> None:
    for c in range(count):
        k = touched[c]
        for i in range(state.length[k]):
            state.where[state.stops[k, i]] = -1
    for c in range(count):
        k = touched[c]
        _copy_route(saved, state, k)
        for i in range(state.length[k]):
            state.where[state.stops[k, i]] = k


@njit(cache=True)
def _ruin(day: Day, state: State, near: Ints, seed_job: int, ruined: Ints, removed: Ints) -> tuple[int, int]:
    """Take strings of stops out around a job; (routes ruined, jobs removed), or (-1, 0) in vain."""
    routes, jobs = 0, 0
    most_routes = 1 + int(np.random.random() * 3)
    most_stops = 1 + int(np.random.random() * 8)
    for n in range(near.shape[1]):
        job = near[seed_job, n]
        k = state.where[job]
        if k < 0 or _holds(ruined, routes, k):
            continue
        fixed = day.crew[k, PREFIX_LENGTH]
        at = 0
        while state.stops[k, at] != job:
            at += 1
        if at < fixed:
            continue
        count = min(state.length[k] - fixed, 1 + int(np.random.random() * most_stops))
        low, high = max(fixed, at - count + 1), min(at, state.length[k] - count)
        first = low + int(np.random.random() * (high - low + 1))
        for i in range(first, first + count):
            removed[jobs] = state.stops[k, i]
            jobs += 1
        ruined[routes] = k
        routes += 1
        if not _take_out(day, state, k, first, count):
            return -routes, jobs
        if routes >= most_routes:
            break
    return routes, jobs


@njit(cache=True)
def _holds(items: Ints, count: int, item: int) -> bool:
    for i in range(count):  # noqa: SIM110 - a generator would not compile
        if items[i] == item:
            return True
    return False


@njit(cache=True)
def _crew_to_open(day: Day, state: State) -> int:
    """Now and then a crew without stops, else -1.

    The first stop of a day bears the whole way and the paid time since the shift's start, so it loses
    money by itself where jobs are small. The chosen crew takes its first stop at any loss; whether the
    route is kept is judged when it is full.
    """
    if np.random.random() >= OPENING:
        return -1
    crews = day.crew.shape[0]
    first = int(np.random.random() * crews)
    for n in range(crews):
        k = (first + n) % crews
        if state.length[k] == 0 and day.crew[k, PREFIX_LENGTH] == 0:
            return k
    return -1


@njit(cache=True)
def _appeal(day: Day) -> Ints:
    """[j, 2] most ticks that a crew earns with the job, and that crew's minutes on site."""
    appeal = np.zeros((day.job_place.shape[0], 2), np.int64)
    for job in range(len(appeal)):
        for k in range(day.crew.shape[0]):
            if day.allowed[k, job] and day.gain[k, job] > appeal[job, 0]:
                appeal[job, 0], appeal[job, 1] = day.gain[k, job], day.service[k, job]
    return appeal


@njit(cache=True)
def _order(day: Day, appeal: Ints, jobs: Ints, count: int, seed_job: int) -> Ints:
    """A random order of the jobs to put back, by one of several tastes."""
    taste = int(np.random.random() * 4)
    keys = np.empty(count)
    for i in range(count):
        job = jobs[i]
        gain, minutes = appeal[job, 0], appeal[job, 1] + 15
        drive = min(600, day.minutes[day.job_place[seed_job], day.job_place[job]])
        noise = 0.7 + 0.6 * np.random.random()
        if taste == 0:
            keys[i] = np.random.random()
        elif taste == 1:
            keys[i] = -noise * gain / minutes
        elif taste == 2:
            keys[i] = -noise * gain
        else:
            keys[i] = noise * (drive + 1) * minutes / (gain + 1)
    return np.argsort(keys)


@njit(cache=True, nogil=True)
def anneal(
    day: Day,
    state: State,
    saved: State,
    best: State,
    near: Ints,
    seed: int,
    steps: int,
    temperature: float,
    found: Ints,
) -> int:
    """Make `steps` steps; `best` is kept up to date. Returns how many rows of `found` were filled.

    `state` and `best` must be consistent on entry. Row of `found`: crew, number of stops, worth, stops.
    """
    np.random.seed(seed)
    crews, jobs = day.crew.shape[0], day.job_place.shape[0]
    current, record, rows = state.value.sum(), best.value.sum(), 0
    ruined, removed = np.empty(crews + 4, np.int64), np.empty(jobs, np.int64)
    touched, pending = np.empty(crews, np.int64), np.empty(jobs, np.int64)
    appeal = _appeal(day)
    for k in range(crews):
        _copy_route(state, saved, k)
    for _ in range(steps):
        seed_job = int(np.random.random() * jobs)
        routes, count = _ruin(day, state, near, seed_job, ruined, removed)
        number = abs(routes)
        touched[:number] = ruined[:number]
        if routes < 0:
            _restore(saved, state, touched, number)
            continue
        opened = _crew_to_open(day, state)
        emptied, total = number, np.int64(0)
        for i in range(count):
            pending[total] = removed[i]
            total += 1
        for n in range(near.shape[1]):
            job = near[seed_job, n]
            if state.where[job] < 0 and total < count + MOST_WAITING and not _holds(removed, count, job):
                pending[total] = job
                total += 1
        for p in _order(day, appeal, pending, total, seed_job):
            job = pending[p]
            won, at, crew = np.int64(0), np.int64(-1), np.int64(-1)
            everywhere = p < count or emptied == 0
            if opened >= 0 and state.length[opened] == 0:
                _, at = _best_place(day, state, opened, job, LOST)
                crew = opened if at >= 0 else crew
            for c in range(0 if crew >= 0 else crews if everywhere else emptied):
                k = c if everywhere else ruined[c]
                ticks, place = _best_place(day, state, k, job, won)
                if place >= 0:
                    won, at, crew = ticks, place, k
            if crew >= 0:
                if not _holds(touched, number, crew):
                    touched[number] = crew
                    number += 1
                _put_in(day, state, crew, job, at)
        change = 0
        for c in range(number):
            change += state.value[touched[c]] - saved.value[touched[c]]
        if change < 0 and change <= temperature * np.log(np.random.random()):
            _restore(saved, state, touched, number)
            continue
        current += change
        for c in range(number):
            k = touched[c]
            _copy_route(state, saved, k)
            if change != 0 and rows < found.shape[0] and state.length[k] > 0:
                found[rows, 0], found[rows, 1], found[rows, 2] = k, state.length[k], state.value[k]
                found[rows, 3 : 3 + state.length[k]] = state.stops[k, : state.length[k]]
                rows += 1
        if current > record:
            record = current
            for k in range(crews):
                _copy_route(state, best, k)
    return rows
