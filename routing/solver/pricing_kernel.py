"""Compiled pricing: the best routes of one crew when each job has a price of its own.

Forward labels in order of time over ng-routes (Baldacci, Mingozzi and Roberti, "New Route Relaxation
and Pricing Strategies for the Vehicle Routing Problem", Operations Research 2011). A label is a
partial route: last job, time, whether the break is behind, load, ticks so far without the cost of
time, and the jobs that it may not visit again. Time is charged at the end only, since overtime and
the end of the shift depend on the return alone. A label that cannot reach the target by the
completion bounds (`bounds_kernel`) is dropped.

Inside, jobs are numbered as in the list of jobs at hand, so that few words hold a set of them.
"""

# mypy: disable-error-code="no-any-return, return-value"

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .bounds_kernel import Bounds, Root, finish_ticks, most_ticks
from .compiled import LOST, Day, done_at, hours_of
from .model import END, METRE_TICKS, NEVER, SHIFT_END, SHIFT_START, Ints

Words = NDArray[np.uint64]
Indices = NDArray[np.int32]
Flags = NDArray[np.bool_]
DONE, TOO_MANY_LABELS, TOO_MANY_ROUTES, STOPPED = 0, 1, 2, 3
TO_FREER, TO_SAME, TO_ANY = 0, 1, 2
HASHES = 1 << 18
ONE = np.uint64(1)


class Labels(NamedTuple):
    """What a pricing run leaves behind; `job` is -1 at the root."""

    status: int
    job: Indices
    parent: Indices
    visited: Words
    """[label, words] as indices in the list of jobs at hand."""
    ends: Ints
    """Labels from which a route to the end reaches the target."""
    worth: Ints
    """The ticks of these routes."""


class CutPrices(NamedTuple):
    """Up to 64 subset-row cuts (`cuts`), one bit each: what a route pays for every second visit."""

    holds: Words
    """[j] the cuts that job j belongs to"""
    keeps: Words
    """[j] the cuts that a visit to job j does not let a route forget"""
    ticks: Ints


class Store(NamedTuple):
    """The labels made so far, one row each."""

    time: Ints
    ticks: Ints
    rested: Flags
    job: Indices
    """Index in the list of jobs at hand; that of no job stands for the root."""
    parent: Indices
    visited: Words
    load: Ints
    cuts: Words
    """Cuts of which the route remembers a first visit."""
    following: Indices
    """The next label to be looked at in the same minute."""
    chained: Indices
    """The next label, with no more ticks, that may beat others at the same job."""


@njit(cache=True, nogil=True)
def price(
    day: Day,
    root: Root,
    reduced: Ints,
    jobs: Ints,
    keeps: Words,
    kinds: Ints,
    cuts: CutPrices,
    bounds: Bounds,
    target: int,
    yields: int,
    wanted: int,
    most_labels: int,
    most_routes: int,
    stop: Flags,
) -> Labels:
    """All routes worth `target` ticks or more that no other one makes needless.

    `keeps[j]` are the jobs that a visit to j does not let the crew forget (its ng-set), `kinds` the
    capacities that are watched. `yields` says to which labels at the same job a label yields if they
    are as early, as light and as good: TO_FREER: those that may go wherever it may; no best route is
    lost. TO_SAME: those with the same jobs behind them; no set of jobs is lost, which is enumeration.
    TO_ANY: all; quick, loses routes. Where `wanted` is a job, only routes that hold it count, and
    `keeps` must never forget it. Once `stop[0]` is set, from another thread, it ends with what it has.
    """
    k, count = root.crew, len(jobs)
    hours = hours_of(day, k)
    zero, span = hours.start, hours.end - hours.start
    opens, closes, home, metre_ticks = day.window_open, day.window_close, day.crew[k, END], day.crew[k, METRE_TICKS]
    bucket_minutes = span // 8192 + 1
    first_in = np.full(span // bucket_minutes + 1, -1, np.int32)
    chain_of = np.full(HASHES if yields == TO_SAME else count + 1, -1, np.int32)
    drives, nets = _steps(day, root, reduced, jobs)
    memory = _memory(keeps, jobs)
    closed = _closed(day, k, jobs, drives, len(first_in), bucket_minutes)
    store = _empty_store(most_labels, memory.shape[1], len(kinds))
    ends, worth = np.empty(most_routes, np.int64), np.empty(most_routes, np.int64)
    sought = _index_of(jobs, wanted)
    bounded = bounds.most.shape[1] > 0
    breaks = hours.break_open < NEVER
    made, found, status = _plant(root, kinds, count, store, zero, span, bucket_minutes, first_in), 0, DONE
    for bucket in range(len(first_in)):
        if stop[0]:
            status = STOPPED
            break
        while first_in[bucket] >= 0 and status == DONE:
            label = first_in[bucket]
            first_in[bucket] = store.following[label]
            if _beaten(store, label, chain_of, closed[bucket], cuts.ticks, yields, sought):
                continue
            here, now, behind = store.job[label], store.time[label], store.rested[label]
            place = root.place if here == count else day.job_place[jobs[here]]
            complete = sought < 0 or _holds(store.visited[label], sought)
            if complete and (here < count or root.may_end):
                fresh, rested, cost = (
                    NEVER if behind else now,
                    now if behind else NEVER,
                    day.metres[place, home] * metre_ticks,
                )
                tail = finish_ticks(hours, fresh, rested, day.minutes[place, home], cost)
                if tail > LOST and store.ticks[label] + tail >= target:
                    if found == most_routes:
                        status = TOO_MANY_ROUTES
                        break
                    ends[found], worth[found] = label, store.ticks[label] + tail
                    found += 1
            if made + 2 * count + 1 > most_labels:
                status = TOO_MANY_LABELS
                break
            if breaks and not behind:
                rest_at = max(now, hours.break_open)
                over = rest_at + hours.break_minutes
                if (
                    rest_at <= hours.break_close
                    and over <= hours.end
                    and (
                        not bounded
                        or here == count
                        or store.ticks[label] + _most(bounds, 1, here, over - zero, store.visited[label]) >= target
                    )
                ):
                    _copy(store, label, made)
                    store.time[made], store.rested[made] = over, True
                    _queue(store, made, first_in, (over - zero) // bucket_minutes)
                    made += 1
            for there in range(count):
                drive = drives[here, there]
                if drive >= NEVER or _holds(store.visited[label], there):
                    continue
                if not _carries(day, k, kinds, store.load[label], jobs[there]):
                    continue
                doubled = store.cuts[label] & cuts.holds[jobs[there]]
                ticks = store.ticks[label] + nets[here, there] - _due(doubled, cuts.ticks)
                for s in range(2 if breaks and not behind else 1):
                    ready = now + drive
                    if s == 1:
                        ready = max(ready, hours.break_open)
                        if ready > hours.break_close:
                            break
                        ready += hours.break_minutes
                    done = done_at(opens, closes, jobs[there], day.service[k, jobs[there]], ready)
                    if done > hours.end:
                        continue
                    now_rested = behind or s == 1
                    _go(store, label, made, there, memory)
                    if (
                        bounded
                        and ticks + _most(bounds, 1 if now_rested else 0, there, done - zero, store.visited[made])
                        < target
                    ):
                        continue
                    store.time[made], store.ticks[made], store.rested[made] = done, ticks, now_rested
                    store.cuts[made] = store.cuts[label] & cuts.keeps[jobs[there]] ^ cuts.holds[jobs[there]]
                    for r in range(len(kinds)):
                        store.load[made, r] = store.load[label, r] + day.uses[jobs[there], kinds[r]]
                    _queue(store, made, first_in, (done - zero) // bucket_minutes)
                    made += 1
    return Labels(
        status, _outward(store.job[:made], jobs), store.parent[:made], store.visited[:made], ends[:found], worth[:found]
    )


@njit(cache=True)
def _empty_store(size: int, words: int, kinds: int) -> Store:
    return Store(
        np.empty(size, np.int64),
        np.empty(size, np.int64),
        np.empty(size, np.bool_),
        np.empty(size, np.int32),
        np.empty(size, np.int32),
        np.empty((size, words), np.uint64),
        np.empty((size, kinds), np.int64),
        np.empty(size, np.uint64),
        np.empty(size, np.int32),
        np.empty(size, np.int32),
    )


@njit(cache=True)
def _steps(day: Day, root: Root, reduced: Ints, jobs: Ints) -> tuple[Ints, Ints]:
    """[i, j] drive minutes and ticks won by going from job i to job j; the last row is the root."""
    count, crew = len(jobs), day.crew[root.crew]
    drives, nets = np.full((count + 1, count), NEVER, np.int64), np.zeros((count + 1, count), np.int64)
    for i in range(count + 1):
        place = root.place if i == count else day.job_place[jobs[i]]
        for j in range(count):
            if i != j:
                drives[i, j] = day.minutes[place, day.job_place[jobs[j]]]
                nets[i, j] = reduced[jobs[j]] - crew[METRE_TICKS] * day.metres[place, day.job_place[jobs[j]]]
    return drives, nets


@njit(cache=True)
def _memory(keeps: Words, jobs: Ints) -> Words:
    """The ng-sets as sets of indices in the list of jobs."""
    count = len(jobs)
    memory = np.zeros((count, (count + 63) // 64), np.uint64)
    for i in range(count):
        for j in range(count):
            if _holds(keeps[jobs[i]], jobs[j]):
                memory[i, j >> 6] |= ONE << np.uint64(j & 63)
    return memory


@njit(cache=True)
def _closed(day: Day, k: int, jobs: Ints, drives: Ints, buckets: int, bucket_minutes: int) -> Words:
    """[bucket, words] the jobs that no route can reach in time any more."""
    count, crew = len(jobs), day.crew[k]
    closed = np.zeros((buckets, (count + 63) // 64), np.uint64)
    for j in range(count):
        latest = min(day.window_close[jobs[j]].max(), crew[SHIFT_END] - day.service[k, jobs[j]])
        latest -= drives[:, j].min()
        for bucket in range(max(0, (latest - crew[SHIFT_START]) // bucket_minutes + 1), buckets):
            closed[bucket, j >> 6] |= ONE << np.uint64(j & 63)
    return closed


@njit(cache=True)
def _index_of(jobs: Ints, job: int) -> int:
    for i in range(len(jobs)):
        if jobs[i] == job:
            return i
    return -1


@njit(cache=True)
def _plant(
    root: Root, kinds: Ints, nowhere: int, store: Store, zero: int, span: int, bucket_minutes: int, first_in: Indices
) -> int:
    """The labels at the root, with the break to come and with it behind; how many there are."""
    made = 0
    for s in range(2):
        when = root.fresh if s == 0 else root.rested
        if when > zero + span:
            continue
        store.time[made], store.ticks[made], store.rested[made] = when, root.ticks, s == 1
        store.job[made], store.parent[made] = nowhere, -1
        store.visited[made, :] = 0
        store.cuts[made] = 0
        for r in range(len(kinds)):
            store.load[made, r] = root.load[kinds[r]]
        _queue(store, made, first_in, (when - zero) // bucket_minutes)
        made += 1
    return made


@njit(cache=True)
def _queue(store: Store, label: int, first_in: Indices, bucket: int) -> None:
    store.following[label] = first_in[bucket]
    first_in[bucket] = label


@njit(cache=True)
def _copy(store: Store, label: int, to: int) -> None:
    """The same partial route again; its way is that of the first."""
    store.ticks[to], store.job[to], store.parent[to] = store.ticks[label], store.job[label], store.parent[label]
    store.visited[to] = store.visited[label]
    store.load[to] = store.load[label]
    store.cuts[to] = store.cuts[label]


@njit(cache=True)
def _go(store: Store, label: int, to: int, job: int, memory: Words) -> None:
    """Job, way and memory of a label that goes on to a job."""
    store.job[to], store.parent[to] = job, label
    for w in range(memory.shape[1]):
        store.visited[to, w] = store.visited[label, w] & memory[job, w]
    store.visited[to, job >> 6] |= ONE << np.uint64(job & 63)


@njit(cache=True)
def _carries(day: Day, k: int, kinds: Ints, load: Ints, job: int) -> bool:
    for r in range(len(kinds)):  # noqa: SIM110 - a generator would not compile
        if load[r] + day.uses[job, kinds[r]] > day.capacity[k, kinds[r]]:
            return False
    return True


@njit(cache=True)
def _most(bounds: Bounds, rested: int, job: int, minutes: int, visited: Words) -> int:
    """Most ticks of a completion that does not return to what is barred."""
    barred = 0
    for n in range(bounds.near.shape[1]):
        other = bounds.near[job, n]
        if other >= 0 and _holds(visited, other):
            barred |= 1 << n
    return most_ticks(bounds, rested, job, barred, minutes // bounds.grain)


@njit(cache=True)
def _beaten(store: Store, label: int, chain_of: Indices, closed: Words, prices: Ints, yields: int, sought: int) -> bool:
    """Whether the label yields to one before it; else it joins the chain of those that may beat others.

    A chain is sorted by ticks, so a label is compared only with those that are as good.
    """
    visited = store.visited[label]
    chain = _hash(store.job[label], visited) if yields == TO_SAME else store.job[label]
    before, other = np.int32(-1), chain_of[chain]
    while other >= 0 and store.ticks[other] >= store.ticks[label]:
        if (
            store.time[other] <= store.time[label]
            and (store.rested[other] or not store.rested[label])
            and store.job[other] == store.job[label]
            and (sought < 0 or _holds(store.visited[other], sought) == _holds(visited, sought))
            and _covers(store.visited[other], visited, closed, yields)
            and (yields == TO_ANY or _lighter(store.load[other], store.load[label]))
            and (yields != TO_FREER or _dearer(store, other, label, prices))
        ):
            return True
        before, other = other, store.chained[other]
    store.chained[label] = other
    if before < 0:
        chain_of[chain] = label
    else:
        store.chained[before] = label
    return False


@njit(cache=True)
def _dearer(store: Store, other: int, label: int, prices: Ints) -> bool:
    """Whether `other` stays as good even if it must pay for all the cuts that only it remembers."""
    return store.ticks[other] - _due(store.cuts[other] & ~store.cuts[label], prices) >= store.ticks[label]


@njit(cache=True)
def _due(cuts: int, prices: Ints) -> int:
    """Sum of the prices of some cuts."""
    total = 0
    if cuts == 0:
        return total
    for c in range(len(prices)):
        if cuts >> np.uint64(c) & ONE:
            total += prices[c]
    return total


@njit(cache=True)
def _hash(job: int, visited: Words) -> int:
    mixed = np.uint64(job + 1)
    for w in range(len(visited)):
        mixed = (mixed ^ visited[w]) * np.uint64(0x9E3779B97F4A7C15)
        mixed ^= mixed >> np.uint64(29)
    return np.int64(mixed % np.uint64(HASHES))


@njit(cache=True)
def _holds(words: Words, item: int) -> bool:
    return bool(words[item >> 6] & (ONE << np.uint64(item & 63)))


@njit(cache=True)
def _covers(mine: Words, its: Words, closed: Words, yields: int) -> bool:
    """Whether a label that must avoid `its` yields to one that must avoid `mine`."""
    if yields == TO_ANY:
        return True
    for w in range(len(mine)):
        if yields == TO_SAME and mine[w] != its[w]:
            return False
        if mine[w] & ~its[w] & ~closed[w]:
            return False
    return True


@njit(cache=True)
def _lighter(mine: Ints, its: Ints) -> bool:
    for r in range(len(mine)):  # noqa: SIM110 - a generator would not compile
        if mine[r] > its[r]:
            return False
    return True


@njit(cache=True)
def _outward(indices: Indices, jobs: Ints) -> Indices:
    """Jobs instead of indices in the list, -1 at the root."""
    for n in range(len(indices)):
        indices[n] = jobs[indices[n]] if indices[n] < len(jobs) else -1
    return indices


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
