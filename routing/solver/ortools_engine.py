"""OR-Tools' routing library as an engine: routes for a model, within a limit of time or solutions.

A second way to a good plan and a yardstick for the first. Choices that its behaviour forces (9.15):
- Transit matrices, one per crew, never Python callbacks; whole numbers in one currency, 1/60 cent.
- Every job is a disjunction. Skipping it costs its best gain, a promise far more; a crew that earns
  less with a job pays the difference on the way there. Jobs that cost money and are not promised
  are left away, since a penalty cannot be negative.
- Crews of a job are set on VehicleVar: SetAllowedVehiclesForIndex raises TypeError in 9.15.
- Paid time runs from the shift's start: the start is pinned there and the span costs.
- Several windows are holes cut into the range of the arrival; drives that do not exist are removed.
- Its breaks weaken the search and only guide it: it runs once with and once without them. All times
  come from `timing`, and what does not hold is mended.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from ortools.constraint_solver import pywrapcp, routing_enums_pb2

from .construct import Routes, RouteValue, construct
from .improve import mend
from .model import (
    BREAK_CLOSE,
    BREAK_MINUTES,
    BREAK_OPEN,
    BREAK_UNPAID,
    END,
    FIXED_TICKS,
    METRE_TICKS,
    MINUTE_TICKS,
    NEVER,
    OVERTIME_AFTER,
    OVERTIME_TICKS,
    SHIFT_END,
    SHIFT_START,
    START,
    Ints,
    Model,
)

TICKS_PER_UNIT = 50
PROMISE_UNITS = 10**12
TIME = "time"


def ortools_routes(
    model: Model, *, seconds: float, solutions: int | None = None, first: Routes | None = None
) -> Routes:
    """Routes found within `seconds` (or after so many solutions), never worse than the first ones."""
    first = first or construct(model)
    jobs = [j for j in range(model.job_count) if _worth_a_look(model, j)]
    if not jobs or not model.crew_count:
        return first
    best = first
    ways = (True, False) if (model.crew[:, BREAK_OPEN] < NEVER).any() else (False,)
    for with_breaks in ways:
        found = _Day(model, jobs, with_breaks).search(best, seconds / len(ways), solutions)
        if found is not None:
            best = max(best, mend(model, found), key=lambda routes: _rank(model, routes))
    return best


def _rank(model: Model, routes: Routes) -> tuple[int, int]:
    value = RouteValue(model)
    placed = {job for route in routes for job in route}
    promised = sum(1 for job in placed if model.must_do[job])
    return promised, sum(value(k, route) or 0 for k, route in enumerate(routes))


def _worth_a_look(model: Model, job: int) -> bool:
    able = model.allowed[:, job]
    return bool(able.any() and (model.must_do[job] or model.gain[able, job].max() > 0))


class _Day:
    """The routing model of one day; node numbers: jobs first, then each crew's start and end."""

    def __init__(self, model: Model, jobs: Sequence[int], with_breaks: bool):
        self._model = model
        self._jobs = jobs
        crews, count = model.crew_count, len(jobs)
        starts = [count + 2 * k for k in range(crews)]
        ends = [count + 2 * k + 1 for k in range(crews)]
        self._manager = pywrapcp.RoutingIndexManager(count + 2 * crews, crews, starts, ends)
        self._routing = pywrapcp.RoutingModel(self._manager)
        self._places = _node_places(model, jobs)
        self._add_costs()
        self._add_time()
        self._add_capacity()
        self._add_jobs()
        self._remove_missing_drives()
        self._hold_prefixes()
        if with_breaks:
            self._add_breaks()

    def search(self, first: Routes, seconds: float, solutions: int | None) -> Routes | None:
        """Improve the first routes; None where the library finds nothing at all."""
        parameters = pywrapcp.DefaultRoutingSearchParameters()
        enums = routing_enums_pb2
        strategy = enums.FirstSolutionStrategy.PARALLEL_CHEAPEST_INSERTION
        parameters.first_solution_strategy = strategy
        parameters.local_search_metaheuristic = enums.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
        parameters.time_limit.FromMilliseconds(max(1, int(min(seconds, 86_400) * 1000)))
        if solutions is not None:
            parameters.solution_limit = max(1, solutions)
        self._routing.CloseModelWithParameters(parameters)
        node = {job: n for n, job in enumerate(self._jobs)}
        known = [[self._manager.NodeToIndex(node[j]) for j in r if j in node] for r in first]
        start = self._routing.ReadAssignmentFromRoutes(known, True)
        answer = None
        if start is not None:
            answer = self._routing.SolveFromAssignmentWithParameters(start, parameters)
        if answer is None:
            answer = self._routing.SolveWithParameters(parameters)
        return None if answer is None else self._read(answer)

    def _read(self, answer: Any) -> Routes:
        routes: Routes = []
        for k in range(self._model.crew_count):
            route, index = [], answer.Value(self._routing.NextVar(self._routing.Start(k)))
            while not self._routing.IsEnd(index):
                route.append(self._jobs[self._manager.IndexToNode(index)])
                index = answer.Value(self._routing.NextVar(index))
            routes.append(route)
        return routes

    def _add_costs(self) -> None:
        for k, crew in enumerate(self._model.crew):
            metres = self._model.metres[np.ix_(self._places, self._places)]
            costs = _units(metres * crew[METRE_TICKS])
            costs[:, : len(self._jobs)] += self._penalties() - _units(self._model.gain[k, self._jobs])
            np.fill_diagonal(costs, 0)
            transit = self._routing.RegisterTransitMatrix(np.maximum(costs, 0).tolist())
            self._routing.SetArcCostEvaluatorOfVehicle(transit, k)
            self._routing.SetFixedCostOfVehicle(int(crew[FIXED_TICKS]) // TICKS_PER_UNIT, k)

    def _penalties(self) -> Ints:
        best = np.where(self._model.allowed, self._model.gain, -NEVER * NEVER // 10**6).max(axis=0)
        return _units(np.maximum(best[self._jobs], 0))

    def _add_time(self) -> None:
        model, transits = self._model, []
        minutes = model.minutes[np.ix_(self._places, self._places)]
        horizon = int(model.crew[:, SHIFT_END].max())
        for k in range(model.crew_count):
            service = np.zeros(len(self._places), np.int64)
            service[: len(self._jobs)] = model.service[k, self._jobs]
            table = np.minimum(minutes + service[:, None], horizon + 1)
            transits.append(self._routing.RegisterTransitMatrix(table.tolist()))
        self._routing.AddDimensionWithVehicleTransits(transits, horizon, horizon, False, TIME)
        time = self._routing.GetDimensionOrDie(TIME)
        for k, crew in enumerate(model.crew):
            start, end = int(crew[SHIFT_START]), int(crew[SHIFT_END])
            time.CumulVar(self._routing.Start(k)).SetRange(start, start)
            time.CumulVar(self._routing.End(k)).SetRange(start, end)
            time.SetSpanCostCoefficientForVehicle(int(crew[MINUTE_TICKS]) // TICKS_PER_UNIT, k)
            if crew[OVERTIME_TICKS]:
                after = int(min(crew[OVERTIME_AFTER], horizon) + crew[BREAK_UNPAID])
                bound = pywrapcp.BoundCost(after, int(crew[OVERTIME_TICKS]) // TICKS_PER_UNIT)
                time.SetSoftSpanUpperBoundForVehicle(bound, k)

    def _add_breaks(self) -> None:
        time = self._routing.GetDimensionOrDie(TIME)
        visits = [0] * self._routing.Size()
        for node, job in enumerate(self._jobs):
            visits[self._manager.NodeToIndex(node)] = int(self._model.service[:, job].min())
        for k, crew in enumerate(self._model.crew):
            opens, closes = int(crew[BREAK_OPEN]), int(crew[BREAK_CLOSE])
            if opens > crew[SHIFT_END] or max(opens, 0) > closes:
                continue
            solver = self._routing.solver()
            rest = solver.FixedDurationIntervalVar(max(opens, 0), closes, int(crew[BREAK_MINUTES]), True, f"break {k}")
            time.SetBreakIntervalsOfVehicle([rest], k, visits)

    def _add_capacity(self) -> None:
        for kind in range(self._model.capacity.shape[1]):
            uses = np.zeros(len(self._places), np.int64)
            uses[: len(self._jobs)] = self._model.uses[self._jobs, kind]
            load = self._routing.RegisterUnaryTransitVector(uses.tolist())
            limits = np.minimum(self._model.capacity[:, kind], int(uses.sum()))
            self._routing.AddDimensionWithVehicleCapacity(load, 0, limits.tolist(), True, f"capacity {kind}")

    def _add_jobs(self) -> None:
        model, time = self._model, self._routing.GetDimensionOrDie(TIME)
        penalties = self._penalties()
        horizon = int(model.crew[:, SHIFT_END].max())
        for node, job in enumerate(self._jobs):
            index = self._manager.NodeToIndex(node)
            penalty = PROMISE_UNITS if model.must_do[job] else int(penalties[node])
            self._routing.AddDisjunction([index], penalty)
            crews = np.flatnonzero(model.allowed[:, job]).tolist()
            self._routing.VehicleVar(index).SetValues([-1, *crews])
            _cut_windows(time.CumulVar(index), model, job, horizon, self._routing, index)

    def _remove_missing_drives(self) -> None:
        missing = self._model.minutes[np.ix_(self._places, self._places)] >= NEVER
        for start, end in np.argwhere(missing).tolist():
            if self._is_end(start) or self._is_start(end):
                continue
            if self._is_end(end):
                crew = (end - len(self._jobs)) // 2
                target = self._routing.End(crew)
            else:
                target = self._manager.NodeToIndex(end)
            if self._is_start(start) and self._is_end(end):
                continue
            origin = self._manager.NodeToIndex(start)
            self._routing.NextVar(origin).RemoveValue(target)

    def _is_start(self, node: int) -> bool:
        return node >= len(self._jobs) and (node - len(self._jobs)) % 2 == 0

    def _is_end(self, node: int) -> bool:
        return node >= len(self._jobs) and (node - len(self._jobs)) % 2 == 1

    def _hold_prefixes(self) -> None:
        value = RouteValue(self._model)
        node = {job: n for n, job in enumerate(self._jobs)}
        for k, prefix in enumerate(self._model.prefix):
            here = self._routing.Start(k)
            if value(k, prefix) is None or not set(prefix) <= set(node):
                self._routing.NextVar(here).SetValue(self._routing.End(k))  # it cannot do anything else before them
                continue
            for job in prefix:
                there = self._manager.NodeToIndex(node[job])
                self._routing.NextVar(here).SetValue(there)
                here = there


def _node_places(model: Model, jobs: Sequence[int]) -> list[int]:
    ends = [int(place) for crew in model.crew for place in (crew[START], crew[END])]
    return [*model.job_place[list(jobs)].tolist(), *ends]


def _units(ticks: Ints) -> Ints:
    return ticks // TICKS_PER_UNIT


def _cut_windows(cumul: Any, model: Model, job: int, horizon: int, routing: Any, index: int) -> None:
    """Leave only the windows in the range of the job's start; a job without any is never visited."""
    opens, closes = model.window_open[job], model.window_close[job]
    windows = [
        (max(int(a), 0), min(int(b), horizon)) for a, b in zip(opens, closes, strict=True) if a <= horizon and b >= 0
    ]
    if not windows:
        routing.VehicleVar(index).SetValues([-1])
        return
    cumul.SetRange(windows[0][0], windows[-1][1])
    for (_, closed), (opened, _) in zip(windows, windows[1:], strict=False):
        cumul.RemoveInterval(closed + 1, opened - 1)
