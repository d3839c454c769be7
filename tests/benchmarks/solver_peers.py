"""The peers of the solver's benchmark: each gets the day as far as it can say it, our code times it.

What a peer cannot say (breaks, several windows, bonuses, overtime after an unpaid break) is left out
or put on the safe side; then stops that do not hold are taken out and what still fits is put in, by
the same repair for all. So a peer is never blamed for a rule that it does not know.
"""

from collections.abc import Callable
from datetime import timedelta

import numpy as np
import pyvrp
import vroom
from pyvrp.stop import MaxRuntime

from routing.solver import Plan, Problem
from routing.solver.construct import Routes
from routing.solver.finish import Findings, finished_plan, simple_bound
from routing.solver.improve import mend
from routing.solver.model import (
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
    Model,
    build_model,
)
from routing.solver.ortools_engine import ortools_routes

TICKS_PER_UNIT = 50
PROMISE_UNITS = 10**9
FORBIDDEN = 10**7

Peer = Callable[[Model, float], Routes]


def peer_plan(problem: Problem, peer: Peer, seconds: float) -> Plan:
    """The peer's plan with our times, value and repair."""
    model = build_model(problem)
    routes = mend(model, peer(model, seconds))
    return finished_plan(model, routes, Findings(simple_bound(model)))


def with_ortools(model: Model, seconds: float) -> Routes:
    return ortools_routes(model, seconds=seconds)


def with_pyvrp(model: Model, seconds: float) -> Routes:
    """One vehicle type and profile per crew; the crew's time on site rides on the drive away."""
    m, jobs = pyvrp.Model(), range(model.job_count)
    crews = model.crew
    locations = [m.add_location(0, 0) for _ in range(2 * len(crews) + model.job_count)]
    ends = [(m.add_depot(locations[2 * k]), m.add_depot(locations[2 * k + 1])) for k in range(len(crews))]
    for j in jobs:
        best = int(np.where(model.allowed[:, j], model.gain[:, j], 0).max(initial=0)) // TICKS_PER_UNIT
        m.add_client(
            locations[2 * len(crews) + j],
            delivery=model.uses[j].tolist(),
            tw_early=max(0, int(model.window_open[j, 0])),
            tw_late=max(0, int(model.window_close[j].max())),
            prize=PROMISE_UNITS if model.must_do[j] else max(0, best),
            required=False,
        )
    for k, crew in enumerate(crews):
        rest = int(model.problem.crews[k].rest.minutes) if model.problem.crews[k].rest else 0  # type: ignore[union-attr]
        span = int(crew[SHIFT_END] - crew[SHIFT_START]) - rest
        after = int(min(crew[OVERTIME_AFTER] + crew[BREAK_UNPAID] - rest, span))
        m.add_vehicle_type(
            start_depot=ends[k][0],
            end_depot=ends[k][1],
            capacity=np.minimum(model.capacity[k], 10**9).tolist(),
            fixed_cost=int(crew[FIXED_TICKS]) // TICKS_PER_UNIT,
            tw_early=int(crew[SHIFT_START]),
            tw_late=int(crew[SHIFT_END]) - rest,
            start_late=int(crew[SHIFT_START]),
            shift_duration=after,
            max_overtime=span - after,
            unit_distance_cost=1,
            unit_duration_cost=int(crew[MINUTE_TICKS]) // TICKS_PER_UNIT,
            unit_overtime_cost=int(crew[MINUTE_TICKS] + crew[OVERTIME_TICKS]) // TICKS_PER_UNIT,
            profile=m.add_profile(),
        )
    tables = [_pyvrp_tables(model, k) for k in range(len(crews))]
    data = m.data().replace(
        distance_matrices=[costs for costs, _ in tables], duration_matrices=[times for _, times in tables]
    )
    result = pyvrp.solve(data, stop=MaxRuntime(seconds), seed=1, display=False, collect_stats=False)
    routes: Routes = [[] for _ in crews]
    depots = 2 * len(crews)
    for route in result.best.routes():
        visited = [activity.idx for activity in route if activity.is_client()]
        assert all(0 <= v < model.job_count for v in visited), depots
        routes[route.vehicle_type()] = visited
    return routes


def _pyvrp_tables(model: Model, k: int) -> tuple[np.ndarray, np.ndarray]:
    places = [int(p) for crew in model.crew for p in (crew[START], crew[END])] + model.job_place.tolist()
    depots = 2 * model.crew_count
    minutes = model.minutes[np.ix_(places, places)].copy()
    costs = model.metres[np.ix_(places, places)] * model.crew[k, METRE_TICKS] // TICKS_PER_UNIT
    closed = minutes >= NEVER
    minutes[depots:] += model.service[k][:, None]
    barred = np.flatnonzero(~model.allowed[k]) + depots
    closed[:, barred] = True
    minutes[closed], costs[closed] = FORBIDDEN, FORBIDDEN
    np.fill_diagonal(minutes, 0)
    np.fill_diagonal(costs, 0)
    return costs, minutes


def with_vroom(model: Model, seconds: float) -> Routes:
    """Priorities by gain; breaks and several windows as they are; costs by the hour and km."""
    day = vroom.Input()
    day.set_durations_matrix("car", np.minimum(model.minutes, 10**6).astype(np.uint32) * 60)
    day.set_distances_matrix("car", model.metres.astype(np.uint32))
    top = max(1, int(model.gain.max(initial=1)))
    for k, crew in enumerate(model.crew):
        span = vroom.TimeWindow(int(crew[SHIFT_START]) * 60, int(crew[SHIFT_END]) * 60)
        rest = model.problem.crews[k].rest
        breaks = []
        if rest and crew[BREAK_OPEN] < crew[SHIFT_END]:
            opens = max(int(crew[BREAK_OPEN]), 0) * 60
            closes = opens + (rest.window[1] - rest.window[0]) * 60
            breaks = [vroom.Break(1, [vroom.TimeWindow(opens, closes)], rest.minutes * 60)]
        day.add_vehicle(
            vroom.Vehicle(
                k + 1,
                int(crew[START]),
                int(crew[END]),
                capacity=np.minimum(model.capacity[k], 10**9).tolist(),
                skills=set((np.flatnonzero(model.allowed[k]) + 1).tolist()),
                time_window=span,
                breaks=breaks,
                type=f"crew{k}",
            )
        )
    for j in range(model.job_count):
        if not model.allowed[:, j].any():
            continue
        windows = [
            vroom.TimeWindow(max(0, int(a)) * 60, int(b) * 60)
            for a, b in zip(model.window_open[j], model.window_close[j], strict=True)
            if b >= 0 and a < NEVER
        ]
        gain = max(0, int(model.gain[:, j].max()))
        per_type = {f"crew{k}": int(model.service[k, j]) * 60 for k in range(model.crew_count)}
        day.add_job(
            vroom.Job(
                j,
                int(model.job_place[j]),
                default_service=int(model.service[0, j]) * 60,
                service_per_type=per_type,
                delivery=vroom.Amount(model.uses[j].tolist()),
                skills={j + 1},
                priority=100 if model.must_do[j] else gain * 99 // top,
                time_windows=windows,
            )
        )
    answer = day.solve(5, 1, timeout=timedelta(seconds=seconds))
    routes: Routes = [[] for _ in model.crew]
    for step in answer.routes.itertuples():
        if step.type == "job":
            routes[int(step.vehicle_id) - 1].append(int(step.id))
    return routes


PEERS: dict[str, Peer] = {"OR-Tools": with_ortools, "PyVRP": with_pyvrp, "VROOM": with_vroom}
