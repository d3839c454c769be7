"""Why a job is left out, in the contract's five words, true of the final plan.

- no_crew_with_skill: no crew may do it: none has the skills (or carries what it uses, or is named).
- unreachable: no such crew can drive there and on to its end, even through other places.
- window_unreachable: such a crew could drive there, but none can begin inside a window and be back
  in time, even with nothing else to do but its fixed stops.
- not_worth_a_slot: it would fit into the plan as it stands, and the plan would be worth no more.
- crew_hours_full: it fits nowhere into the plan as it stands.
"""

from collections.abc import Sequence

import numpy as np

from .construct import Routes, RouteValue
from .model import END, NEVER, SHIFT_END, SHIFT_START, START, Ints, Model
from .plan import LeftOutReason

MOST_PLACES_FOR_DETOURS = 400
MOST_JOBS_FOR_TRIES = 400
"""Beyond it only minutes are compared, not times: trying each job at each place of each route would take too long."""


class ReasonFinder:
    """Reasons for several jobs of one plan."""

    def __init__(self, model: Model, routes: Routes):
        self._model = model
        self._routes = routes
        self._value = RouteValue(model)
        self._quickest = quickest(model.minutes)
        self._spare = _SpareMinutes(model, routes) if model.job_count > MOST_JOBS_FOR_TRIES else None

    def reason(self, job: int) -> LeftOutReason:
        able = [k for k in range(self._model.crew_count) if self._value.allowed(k, job)]
        able = [k for k in able if self._carries_alone(k, job)]
        if not able:
            return "no_crew_with_skill"
        if not any(self._can_reach(k, job) for k in able):
            return "unreachable"
        if not any(self._could_alone(k, job) for k in able):
            return "window_unreachable"
        return "not_worth_a_slot" if self.fits(able, job) else "crew_hours_full"

    def fits(self, crews: Sequence[int], job: int) -> bool:
        """Whether the job can be put anywhere into the routes as they stand."""
        if self._spare:
            return self._spare.fits(crews, job)
        return any(self._best_with(k, job) is not None for k in crews)

    def _best_with(self, k: int, job: int) -> int | None:
        route, fixed = self._routes[k], len(self._model.prefix[k])
        if len(route) < fixed:
            return None
        worths = (self._value(k, [*route[:at], job, *route[at:]]) for at in range(fixed, len(route) + 1))
        return max((worth for worth in worths if worth is not None), default=None)

    def _carries_alone(self, k: int, job: int) -> bool:
        return bool((self._model.uses[job] <= self._model.capacity[k]).all())

    def _can_reach(self, k: int, job: int) -> bool:
        place, crew = self._model.job_place[job], self._model.crew[k]
        there = self._quickest[crew[START], place]
        return bool(there < NEVER and self._quickest[place, crew[END]] < NEVER)

    def _could_alone(self, k: int, job: int) -> bool:
        """Alone by direct drives; where other places are a short cut or the only way, through them."""
        prefix = self._model.prefix[k]
        if len(self._routes[k]) < len(prefix) or job in prefix:
            return False
        if self._value(k, [*prefix, job]) is not None:
            return True
        place, crew = self._model.job_place[job], self._model.crew[k]
        start = self._model.job_place[prefix[-1]] if prefix else crew[START]
        direct = self._model.minutes[start, place], self._model.minutes[place, crew[END]]
        through = self._quickest[start, place], self._quickest[place, crew[END]]
        return direct != through


class _SpareMinutes:
    """By crew the minutes of the shift in which it neither works nor drives, less the least detour to each place."""

    def __init__(self, model: Model, routes: Routes):
        self._model = model
        self._left = [self._left_for_work(k, list(route)) for k, route in enumerate(routes)]

    def fits(self, crews: Sequence[int], job: int) -> bool:
        place, service = self._model.job_place[job], self._model.service
        return any(service[k, job] <= self._left[k][place] for k in crews)

    def _left_for_work(self, k: int, route: list[int]) -> Ints:
        """[p] minutes left for work at a place, the drive there counted."""
        crew, minutes = self._model.crew[k], self._model.minutes
        stops = np.array([crew[START], *self._model.job_place[route], crew[END]], np.int64)
        legs = minutes[stops[:-1], stops[1:]]
        detours = minutes[stops[:-1]] + minutes[:, stops[1:]].T - (legs[:, None] if route else 0)
        free = crew[SHIFT_END] - crew[SHIFT_START] - self._model.service[k, route].sum() - (legs.sum() if route else 0)
        left: Ints = free - detours[len(self._model.prefix[k]) :].min(axis=0)
        return left


def quickest(minutes: Ints) -> Ints:
    """Least minutes between places, through others where that is quicker (Floyd and Warshall)."""
    if len(minutes) > MOST_PLACES_FOR_DETOURS:
        return minutes
    least = minutes.copy()
    for via in range(len(least)):
        np.minimum(least, least[:, via, None] + least[None, via, :], out=least)
    return np.minimum(least, NEVER)
