"""The first plan, in plain Python: put in the best job at its best place until nothing pays.

It is ready before any compiled code is loaded. Promised jobs count as worth far more than money,
so they go in first wherever they fit.
"""

from collections.abc import Callable, Sequence

from .model import Model
from .money import metres_ticks, time_ticks
from .problem import Crew
from .timing import route_time

PROMISE_TICKS = 10**15
MOST_CANDIDATES = 300

Routes = list[list[int]]
_Choice = tuple[int, int, int]
"""(ticks won, crew, position)"""


class RouteValue:
    """Exact value of a crew's route from job indices, or None where the times cannot be kept."""

    def __init__(self, model: Model):
        self._problem = model.problem
        self._jobs = model.problem.jobs
        self._minutes = model.problem.drive_minutes
        self._metres = model.problem.drive_metres
        self._places = model.job_place.tolist()
        self._gain = model.gain.tolist()
        self._allowed = model.allowed.tolist()
        self._ends = [
            (model.problem.place_index[c.start], model.problem.place_index[c.end]) for c in model.problem.crews
        ]

    def __call__(self, crew_index: int, order: Sequence[int]) -> int | None:
        """Ticks of the route with every cost; 0 for no stops."""
        if not order:
            return 0
        crew = self._problem.crews[crew_index]
        drives = self._drives(crew_index, order)
        able = all(self._allowed[crew_index][j] for j in order)
        if drives is None or not able or not self._carries(crew, order):
            return None
        paid = route_time(crew, [self._jobs[j] for j in order], [minutes for minutes, _ in drives])
        if paid is None:
            return None
        cost = time_ticks(crew, self._problem.reserve_cents_per_crew_hour, paid)
        cost += metres_ticks(crew, sum(metres for _, metres in drives)) + crew.fixed_cents * 3000
        gain = self._gain[crew_index]
        return int(sum(gain[j] for j in order) - cost)

    def allowed(self, crew_index: int, job: int) -> bool:
        return bool(self._allowed[crew_index][job])

    def _drives(self, crew_index: int, order: Sequence[int]) -> list[tuple[int, int]] | None:
        start, end = self._ends[crew_index]
        here, legs = start, []
        for there in [*(self._places[j] for j in order), end]:
            minutes, metres = self._minutes[here][there], self._metres[here][there]
            if minutes is None or metres is None:
                return None
            legs.append((minutes, metres))
            here = there
        return legs

    def _carries(self, crew: Crew, order: Sequence[int]) -> bool:
        return all(
            sum(self._jobs[j].uses.get(kind, 0) for j in order) <= limit for kind, limit in crew.capacity.items()
        )


def construct(model: Model, over: Callable[[], bool] = lambda: False) -> Routes:
    """Routes by crew that keep every rule, promises and fixed beginnings where they fit."""
    value = RouteValue(model)
    routes = [_longest_prefix(value, k, prefix) for k, prefix in enumerate(model.prefix)]
    return fill(model, routes, over)


def fill(model: Model, routes: Routes, over: Callable[[], bool] = lambda: False) -> Routes:
    """Put jobs into the routes, the best one at its best place first, until nothing pays."""
    value = RouteValue(model)
    routes = [list(route) for route in routes]
    placed = {job for route in routes for job in route}
    waiting = [j for j in range(model.job_count) if j not in placed]
    waiting = list(candidates(model, waiting, MOST_CANDIDATES))
    choices: dict[int, dict[int, _Choice]] = {j: {} for j in waiting}
    stale = list(range(model.crew_count))
    while waiting and not over():
        for k in stale:
            _refresh(model, value, routes[k], k, waiting, choices)
        best = max(((c, j) for j in waiting for c in choices[j].values()), default=None)
        if best is None or best[0][0] <= 0:
            break
        (_, k, position), job = best
        routes[k].insert(position, job)
        waiting.remove(job)
        stale = [k]
    return routes


def _longest_prefix(value: RouteValue, k: int, prefix: Sequence[int]) -> list[int]:
    """The fixed beginning, or nothing where its times cannot be kept."""
    return list(prefix) if value(k, prefix) is not None else []


def candidates(model: Model, waiting: Sequence[int], most: int) -> Sequence[int]:
    """All promised jobs and the best-paid others, at most so many (more only where more are promised)."""
    if len(waiting) <= most or not model.crew_count:
        return waiting
    pay = model.gain.max(axis=0) / (model.service.min(axis=0) + 30)
    order = sorted(waiting, key=lambda j: (not model.must_do[j], -pay[j], j))
    promised = sum(bool(model.must_do[j]) for j in waiting)
    return sorted(order[: max(most, promised)])


def _refresh(
    model: Model,
    value: RouteValue,
    route: list[int],
    k: int,
    waiting: Sequence[int],
    choices: dict[int, dict[int, _Choice]],
) -> None:
    if len(route) < len(model.prefix[k]):
        return
    now = value(k, route) or 0
    for job in waiting:
        choices[job].pop(k, None)
        if not value.allowed(k, job):
            continue
        bonus = PROMISE_TICKS if model.must_do[job] else 0
        for position in range(len(model.prefix[k]), len(route) + 1):
            worth = value(k, [*route[:position], job, *route[position:]])
            if worth is not None and worth - now + bonus > choices[job].get(k, (-(10**30),))[0]:
                choices[job][k] = (worth - now + bonus, k, position)
