"""One entry: a problem in, the best plan that was found out."""

from collections.abc import Callable
from dataclasses import dataclass

from .construct import construct
from .finish import Findings, finished_plan, simple_bound
from .model import build_model
from .ortools_engine import ortools_routes
from .plan import Plan
from .problem import Problem
from .stopping import Stop


@dataclass(frozen=True, slots=True)
class Params:
    """Tuning."""


def solve(
    problem: Problem,
    *,
    stop: Stop,
    seed: int = 1,
    params: Params | None = None,
    on_progress: Callable[[Plan], None] | None = None,
) -> Plan:
    """The best plan found before `stop` says so.

    `on_progress` is called with each better plan. The same problem, seed, params and `RoundLimit`
    give the same plan on every run.
    """
    watch = stop.started()
    model = build_model(problem)
    routes = construct(model, lambda: watch.seconds_left() <= 0)
    findings = Findings(simple_bound(model), watch.seconds(), {"seed": seed})
    plan = finished_plan(model, routes, findings)
    if on_progress:
        on_progress(plan)
    seconds, solutions = min(watch.seconds_left(), 3600.0), getattr(stop, "rounds", None)
    if seconds > 0 and solutions != 0:
        routes = ortools_routes(model, seconds=seconds, solutions=solutions)
    findings = Findings(simple_bound(model), watch.seconds(), {"seed": seed})
    return finished_plan(model, routes, findings)
