"""Crews that are alike for the exact method, and what each class needs for pricing."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .bounds_kernel import Root
from .compiled import Day, prefix_state
from .model import (
    BREAK_CLOSE,
    BREAK_OPEN,
    FIXED_TICKS,
    METRE_TICKS,
    NEVER,
    SHIFT_END,
    SHIFT_START,
    START,
    Ints,
    Model,
)
from .pricing_kernel import Flags, skipping_excess

ALWAYS = 10**17
STEPS = 720
MOST_STEPS = 4096
SHARPEST = 5
MOST_PLACES_FOR_TRIANGLES = 1200


@dataclass(frozen=True)
class CrewClass:
    """Crews with the same day, costs and jobs. A crew with fixed stops is a class of its own."""

    crews: tuple[int, ...]
    prefix: tuple[int, ...]
    jobs: Ints
    """Jobs that may follow the fixed stops."""
    slack: Ints
    """[j] a job priced above its gain by this much or more never belongs on a best route."""

    @property
    def crew(self) -> int:
        """The crew that stands for all."""
        return self.crews[0]

    @property
    def size(self) -> int:
        return len(self.crews)


class ClassPricing:
    """What stays the same between pricings of one class."""

    def __init__(self, model: Model, day: Day, group: CrewClass, stop: Flags | None = None):
        self._day, self.group = day, group
        self.stop: Flags = np.zeros(1, np.bool_) if stop is None else stop
        """Kernels end early once it is set."""
        crew = day.crew[group.crew]
        prefix = np.array(group.prefix, np.int64)
        self._state = prefix_state(day, group.crew, int(crew[START]), prefix)
        self._load = day.uses[prefix].sum(axis=0) if len(prefix) else np.zeros_like(day.uses[:1].sum(0))
        span = int(crew[SHIFT_END] - crew[SHIFT_START])
        least = int(day.service[group.crew, group.jobs].min(initial=ALWAYS))
        self.span = span
        coarsest = max(1, -(-(span + 1) // STEPS))
        self.grain = max(1, min(coarsest, least))
        fits = (span + 1) // self.grain <= MOST_STEPS
        self.bounded = fits and least >= 1 and len(group.jobs) > 0
        self.sharpness = 1
        """Size of the ng-sets of the completion bounds."""
        self.kinds = np.zeros(0, np.int64)
        """Capacities that pricing watches: those that a route has been found to break."""

    @cached_property
    def scarce(self) -> Ints:
        """Capacities that some route of the shift's length might break.

        Each job takes its time on site and at least the shortest drive to it, so the most that fits into
        the shift is a fractional knapsack (Dantzig, "Discrete-variable extremum problems", Operations
        Research 1957); a capacity that holds even that need not be watched.
        """
        day, crew, jobs = self._day, self.group.crew, self.group.jobs
        minutes = day.service[crew, jobs] + self._shortest_drives()
        fill = [_most_used(day.uses[jobs, kind], minutes, self.span) for kind in range(day.uses.shape[1])]
        over = self._load + np.array(fill, np.int64).reshape(-1) > day.capacity[crew]
        return np.flatnonzero(over).astype(np.int64)

    def _shortest_drives(self) -> Ints:
        """[jobs] least minutes of a drive to each job from the root or another job."""
        day, jobs = self._day, self.group.jobs
        places = np.append(day.job_place[jobs], self._state[2])
        drives = day.minutes[np.ix_(places, day.job_place[jobs])].copy()
        np.fill_diagonal(drives, NEVER)
        return drives.min(axis=0, initial=NEVER)  # type: ignore[no-any-return]

    def sharpen(self) -> None:
        """Let the next completion bounds remember more."""
        self.sharpness = min(self.sharpness + 1, SHARPEST)

    def watch_broken(self, route: Sequence[int]) -> bool:
        """Watch the capacities that this route breaks from now on; whether there were any."""
        load = self._day.uses[list(route)].sum(axis=0)
        broken = np.flatnonzero(load > self._day.capacity[self.group.crew])
        self.kinds = np.union1d(self.kinds, broken).astype(np.int64)
        return len(broken) > 0

    @cached_property
    def possible(self) -> bool:
        """Whether the fixed stops can be kept at all."""
        crew, prefix = self.group.crew, list(self.group.prefix)
        able = bool(self._day.allowed[crew, prefix].all())
        carried = bool((self._load <= self._day.capacity[crew]).all())
        return able and carried and min(self._state[0], self._state[1]) < NEVER

    def root(self, prices: Ints) -> Root:
        """Where the free part of a route begins, with the fixed stops at these prices."""
        fresh, rested, place, metres = self._state
        crew, prefix = self._day.crew[self.group.crew], list(self.group.prefix)
        gains = self._day.gain[self.group.crew, prefix] - prices[prefix]
        ticks = int(gains.sum()) - int(crew[FIXED_TICKS]) - int(crew[METRE_TICKS]) * metres
        return Root(self.group.crew, place, fresh, rested, ticks, self._load, bool(prefix))

    def reduced(self, prices: Ints) -> Ints:
        return np.ascontiguousarray(self._day.gain[self.group.crew] - prices)

    def worthwhile(self, reduced: Ints) -> Ints:
        """Jobs that a best route may hold at these prices."""
        jobs = self.group.jobs
        return np.ascontiguousarray(jobs[reduced[jobs] > -self.group.slack[jobs]])


def crew_classes(model: Model, day: Day) -> list[CrewClass]:
    """Every crew in exactly one class, classes in order of their first crew."""
    prefixed = {job for prefix in model.prefix for job in prefix}
    excess = _excess(model)
    groups: dict[object, list[int]] = {}
    for k in range(model.crew_count):
        groups.setdefault(_likeness(day, model, k), []).append(k)
    return [_class(model, day, excess, crews, prefixed) for crews in groups.values()]


def _likeness(day: Day, model: Model, k: int) -> object:
    if model.prefix[k]:
        return k
    parts = (day.crew[k], day.allowed[k], day.gain[k], day.service[k], day.capacity[k])
    return tuple(part.tobytes() for part in parts)


def _class(model: Model, day: Day, excess: Ints | None, crews: Sequence[int], prefixed: set[int]) -> CrewClass:
    k = crews[0]
    free = [j for j in np.flatnonzero(day.allowed[k]).tolist() if j not in prefixed]
    jobs = np.array(free, np.int64)
    return CrewClass(tuple(crews), model.prefix[k], jobs, _slack(day, k, excess))


def _excess(model: Model) -> Ints | None:
    if len(model.minutes) > MOST_PLACES_FOR_TRIANGLES:
        return None
    return skipping_excess(model.minutes, model.metres)


def _slack(day: Day, k: int, excess: Ints | None) -> Ints:
    """How far below its price a job may lie and still help a route by being on the way.

    Leaving a stop out never makes a route late if the drive past it takes no longer than going
    there, working and going on. A break that was taken at the stop is then taken before the drive past
    it, or after it; the later of the two may begin in time if no drive is longer than the window for
    the beginning. Else the drive must be no longer than either leg alone with the work. Then the job
    can only save metres, and by no more than the tables break the triangle inequality. Where that
    cannot be said, the job is never left aside.
    """
    if excess is None:
        return np.full(len(day.job_place), ALWAYS)
    around, service = excess[day.job_place], day.service[k]
    safe = around[:, 0] <= service
    window = day.crew[k, BREAK_CLOSE] - day.crew[k, BREAK_OPEN]
    if day.crew[k, BREAK_OPEN] < NEVER and longest_drive(day) > window:
        safe &= (around[:, 1] <= service) & (around[:, 2] <= service)
    return np.where(safe, around[:, 3] * day.crew[k, METRE_TICKS], ALWAYS)


def longest_drive(day: Day) -> int:
    """Minutes of the longest drive that can be made."""
    return int(day.minutes[day.minutes < NEVER].max(initial=0))


def _most_used(uses: Ints, minutes: Ints, span: int) -> int:
    """The most that jobs which fit into the span can use, the last of them in part; rounded up."""
    total, left = 0.0, float(span)
    for job in np.argsort(-uses / np.maximum(minutes, 1e-9), kind="stable").tolist():
        share = min(1.0, left / max(float(minutes[job]), 1e-9))
        total += share * float(uses[job])
        left -= share * float(minutes[job])
        if left <= 0:
            break
    return int(total) + 1
