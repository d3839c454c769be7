"""One entry: a problem in, the best plan that was found out."""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from .construct import Routes, candidates, construct
from .finish import NO_PRICES, Clash, ExactPrices, Findings, finished_plan, missing_promises, routes_value, simple_bound
from .improve import mend
from .model import Model, build_model
from .params import Params
from .plan import Plan
from .problem import Problem
from .promises import Look, Promises
from .stopping import Stop, Watch
from .warm import is_warm, start_warming

if TYPE_CHECKING:
    from .optimiser import Optimiser

REPORT_EVERY_SECONDS = 0.25
SLICE_SECONDS = 1.5
FIRST_SHARE = 0.3
"""Share of a time limit that the first plan may take; on a day of the trade it takes far less."""
USUAL_JOBS = 150
MOST_JOBS = 1_000
"""Beyond it only so many of the jobs are searched."""
LARGE_SHARE = 0.8

OnProgress = Callable[[Plan], None]
Orders = Mapping[str, Sequence[str]]
"""Job ids in order, by crew."""


def solve(
    problem: Problem,
    *,
    stop: Stop,
    seed: int = 1,
    params: Params | None = None,
    on_progress: OnProgress | None = None,
    first: Orders | None = None,
) -> Plan:
    """The best plan found before `stop` says so, with a bound that no plan can exceed.

    `on_progress` is called with each better plan (or bound). `first` gives job ids by crew to begin with, such as the
    plan of before; what does not hold any more is taken out. The same problem, seed, params, first routes and
    `RoundLimit` give the same plan on every run.
    """
    params = params or Params()
    if params.objective == "ratio":
        from .ratio import solve_for_ratio

        return solve_for_ratio(problem, stop=stop, seed=seed, params=params, on_progress=on_progress, first=first)
    if len(problem.jobs) > MOST_JOBS:
        return _solve_shortlist(problem, stop, seed, params, on_progress, first)
    watch = stop.started()
    model, routes = prepared(problem, watch)
    if first is not None:
        routes = better_start(model, routes, first)
    promises = Promises(model)
    look = promises.first_look(routes, _first_plan_over(watch))
    findings = Findings(simple_bound(model), watch.seconds(), {"seed": seed}, clash=look.clash)
    plan = finished_plan(model, look.routes, findings)
    if on_progress:
        on_progress(plan)
    if not model.job_count or not model.crew_count or watch.over(0):
        return plan
    if watch.seconds_left() < float("inf"):
        look = replace(look, routes=_while_compiling(model, look.routes, watch))
    if watch.over(0):
        return finished_plan(model, look.routes, findings)
    params = _tuned(params, model.job_count)
    return _optimised(promises, promises.second_look(look, watch), seed, params, watch, on_progress)


def _tuned(params: Params, jobs: int) -> Params:
    """Fewer steps a turn on a large day, where each takes longer, so that the clock is looked at as often."""
    return replace(params, steps=max(1, params.steps * USUAL_JOBS // max(USUAL_JOBS, jobs)))


def prepared(problem: Problem, watch: Watch | None = None) -> tuple[Model, Routes]:
    """Arrays and first routes, without any compiled code."""
    model = build_model(problem)
    return model, construct(model, _first_plan_over(watch) if watch else lambda: False)


def _first_plan_over(watch: Watch) -> Callable[[], bool]:
    limit = watch.earlier(1 - FIRST_SHARE)
    return lambda: limit.seconds_left() <= 0


def _solve_shortlist(
    problem: Problem, stop: Stop, seed: int, params: Params, on_progress: OnProgress | None, first: Orders | None
) -> Plan:
    """A problem too large to search whole: the promised and the best-paid jobs, with a bound for all of them."""
    watch = stop.started()
    model = build_model(problem)
    short = problem.replace(jobs=tuple(problem.jobs[j] for j in candidates(model, range(model.job_count), MOST_JOBS)))
    bound, promises = simple_bound(model), Promises(model)

    def whole(plan: Plan) -> Plan:
        orders = {route.crew: [model.index_of_job[job] for job in route.job_ids] for route in plan.routes}
        routes = [orders.get(crew, []) for crew in problem.crew_ids]
        notes = {**plan.solver, "shortlist": len(short.jobs)}
        clash = promises.clash_of_part(routes, plan) if plan.status == "infeasible" else None
        return finished_plan(model, routes, Findings(bound, watch.seconds(), notes, clash=clash))

    def tell(plan: Plan) -> None:
        if on_progress:
            on_progress(whole(plan))

    return whole(solve(short, stop=watch.share(LARGE_SHARE), seed=seed, params=params, on_progress=tell, first=first))


def better_start(model: Model, routes: Routes, first: Orders) -> Routes:
    """The routes of `first`, mended to hold in this problem, where they are worth more than `routes`."""
    known = model.index_of_job
    taken = {job for prefix in model.prefix for job in prefix}
    orders: Routes = []
    for k, crew in enumerate(model.problem.crew_ids):
        wanted = dict.fromkeys(known[job] for job in first.get(crew, ()) if job in known)
        free = [j for j in wanted if model.allowed[k, j] and j not in taken]
        taken.update(free)
        orders.append([*model.prefix[k], *free])
    mended = mend(model, orders)
    rank = [(-len(missing_promises(model, one)), routes_value(model, one)) for one in (routes, mended)]
    return mended if rank[1] > rank[0] else routes


def _while_compiling(model: Model, routes: Routes, watch: Watch) -> Routes:
    """Better routes from OR-Tools' routing library for as long as our own code is being compiled."""
    if is_warm():
        return routes
    from .ortools_engine import ortools_routes

    compiling = start_warming()
    while compiling.poll() is None and watch.seconds_left() > SLICE_SECONDS:
        routes = ortools_routes(model, seconds=SLICE_SECONDS, first=routes)
    if compiling.poll() is None:
        time.sleep(max(0.0, watch.seconds_left()))
    return routes


def _optimised(
    promises: Promises, look: Look, seed: int, params: Params, watch: Watch, tell: OnProgress | None
) -> Plan:
    # Loaded here, since the first plan must not wait for compiled code.
    from .optimiser import Optimiser

    optimiser = Optimiser(promises.model, look.routes, seed, params, watch.earlier(params.price_share))
    reporter = _Reporter(optimiser, promises, look.clash, seed, watch, tell)
    optimiser.run(reporter.turn)
    return reporter.plan(final=True)


class _Reporter:
    """Turns the optimiser's state into plans, not too often, but a proof at once."""

    def __init__(
        self,
        optimiser: "Optimiser",
        promises: Promises,
        clash: Clash | None,
        seed: int,
        watch: Watch,
        tell: OnProgress | None,
    ):
        self._optimiser, self._promises, self._clash = optimiser, promises, clash
        self._seed, self._watch, self._tell = seed, watch, tell
        self._last: tuple[float, int, int | None] = (-1.0, 0, None)

    def turn(self) -> None:
        state = (self._optimiser.value, self._optimiser.bound)
        now = self._watch.seconds()
        if (
            self._tell
            and state != self._last[1:]
            and (self._optimiser.closed or now - self._last[0] >= REPORT_EVERY_SECONDS)
        ):
            self._last = (now, *state)
            self._tell(self.plan())

    def plan(self, final: bool = False) -> Plan:
        optimiser = self._optimiser
        prices, worth = optimiser.what_it_is_worth(self._watch) if final else ({}, None)
        findings = Findings(
            optimiser.plain_bound,
            self._watch.seconds(),
            {"seed": self._seed, "columns": len(optimiser.pool.columns), "rounds": optimiser.turns},
            prices,
            crew_hour_worth_cents=worth,
            clash=self._proved_clash(final),
            exact=self._exact(prices) if final else NO_PRICES,
        )
        return finished_plan(optimiser.model, optimiser.routes, findings)

    def _exact(self, estimates: Mapping[int, int]) -> ExactPrices:
        from .exact_prices import exact_prices

        share = self._optimiser.params.exact_share
        if not share:
            return NO_PRICES
        watch = self._watch.share(share).started()
        return exact_prices(self._optimiser, self._seed, estimates, watch)

    def _proved_clash(self, final: bool) -> Clash | None:
        """At the end with a smallest set of promises that cannot all be kept, as far as time goes."""
        optimiser = self._optimiser
        missing = missing_promises(optimiser.model, optimiser.routes)
        if self._clash or not missing:
            return self._clash
        refuted = optimiser.promises_refuted
        if final:
            return self._promises.clash(missing, refuted, self._watch)
        return Clash() if refuted else None
