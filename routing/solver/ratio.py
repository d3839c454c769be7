"""The most profit per paid crew-hour instead of the most value: Dinkelbach's method over the same solver.

For a ratio r, the plan with the most profit - r x hours earns more than r an hour exactly if that
difference is above 0; its own ratio is then the next r (Dinkelbach, Management Science 13, 1967). The
ratio never falls, and few passes are enough. r is a price on every paid minute, so each pass is the
day's problem with dearer crews.

A pass whose difference is at most B for every plan proves that none earns more than r + B / least
hours of any plan that works at all; where B is 0 that is r itself. Ratios are rounded up to whole
ticks a minute, so "best" means to 0.02 cents per crew-hour.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Generic, TypeVar

import numpy as np

from .construct import Routes
from .finish import Clash, Findings, finished_plan, missing_promises, routes_value
from .model import END, MINUTE_TICKS, START, Model, build_model
from .money import TICKS_PER_CENT, to_cents
from .params import Params
from .plan import BestRatio, Plan
from .problem import Problem
from .reasons import MOST_PLACES_FOR_DETOURS, quickest
from .solve import OnProgress, solve
from .stopping import Stop, Watch
from .timing import Broken, schedule_route
from .warm import is_warm

MOST_PASSES = 20
VALUE_SHARE = 0.4
"""Share of the time for the plan of most value, from which the passes start."""
PASS_SHARE = 0.5
"""Share of the time left that one pass may take."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Pass(Generic[T]):
    """One pass: the best answer at a ratio, and what it comes to."""

    at: Fraction
    answer: T
    profit: Fraction
    size: Fraction

    @property
    def gains(self) -> bool:
        """Whether the answer beats the ratio that it was found at."""
        return self.profit - self.at * self.size > 0


Answer = tuple[T, Fraction, Fraction]
"""(answer, profit, size)"""


def dinkelbach(
    best_at: Callable[[Fraction], Answer[T]], start: Fraction, *, tolerance: Fraction = Fraction(0)
) -> tuple[Pass[T], ...]:
    """The passes until none gains more than `tolerance`; the best answer is the last one that gained.

    `best_at(r)` gives the answer with the most profit - r x size; sizes must be above 0.
    """
    passes: list[Pass[T]] = []
    ratio = start
    while len(passes) < MOST_PASSES:
        answer, profit, size = best_at(ratio)
        passes.append(Pass(ratio, answer, profit, size))
        if profit - ratio * size <= tolerance:
            break
        ratio = profit / size
    return tuple(passes)


def solve_for_ratio(
    problem: Problem,
    *,
    stop: Stop,
    seed: int,
    params: Params,
    on_progress: OnProgress | None,
    first: Mapping[str, Sequence[str]] | None = None,
) -> Plan:
    """The plan with the most profit per paid crew-hour that was found, with bounds on its ratio and on its value."""
    watch = stop.started()
    most_value = solve(
        problem,
        stop=watch.share(VALUE_SHARE),
        seed=seed,
        params=replace(params, objective="value"),
        on_progress=on_progress,
        first=first,
    )
    search = _RatioSearch(problem, most_value, seed, params, watch)
    ready = is_warm() or watch.seconds_left() == float("inf")
    while ready and not search.done and not watch.over(0):
        search.step()
        if on_progress:
            on_progress(search.plan())
    return search.plan()


class _RatioSearch:
    """The best plan so far by its ratio; each step is one pass."""

    def __init__(self, problem: Problem, most_value: Plan, seed: int, params: Params, watch: Watch):
        self._problem, self._most_value = problem, most_value
        self._seed, self._params, self._watch = seed, params, watch
        self._model = build_model(problem.replace(reserve_cents_per_crew_hour=0))
        self._routes = _routes_of(self._model, most_value)
        self._first = self._figures(self._routes)
        self._best = self._first
        self._bound: Fraction | None = None
        self._least = least_minutes(self._model)
        self.passes = 0
        self.done = not self._model.job_count or not self._model.crew_count

    def step(self) -> None:
        """One pass: the best plan where each paid minute costs the present ratio on top."""
        from .optimiser import Optimiser

        charge = self._charge()
        charged = charged_by_the_minute(self._model, charge)
        watch = self._watch.share(PASS_SHARE).started()
        optimiser = Optimiser(charged, self._routes, self._seed + self.passes, self._params, watch)
        optimiser.run(lambda: None)
        self.passes += 1
        self._tighten(charge, optimiser.plain_bound)
        better = self._take(optimiser.routes)
        self.done = self.passes >= MOST_PASSES or (optimiser.closed and not better)

    def plan(self) -> Plan:
        profit, minutes = self._best
        bound = self._bound if not missing_promises(self._model, self._routes) else None
        ratio = Fraction(profit, minutes) if minutes else Fraction(0)
        found = BestRatio(
            profit_cents=to_cents(profit),
            paid_minutes=minutes,
            upper_bound_cents_per_crew_hour=None if bound is None else _cents_an_hour(max(bound, ratio)),
            passes=self.passes,
            most_value_cents=self._most_value.value_cents,
            most_value_profit_cents=to_cents(self._first[0]),
            most_value_paid_minutes=self._first[1],
        )
        model = build_model(self._problem)
        findings = Findings(
            round(self._most_value.upper_bound_cents * TICKS_PER_CENT) + 1,
            self._watch.seconds(),
            {**self._most_value.solver, "objective": "ratio"},
            clash=Clash(self._most_value.reasons) if self._most_value.status == "infeasible" else None,
        )
        return replace(finished_plan(model, self._routes, findings), best_ratio=found)

    def _charge(self) -> int:
        """The present ratio in ticks a minute, rounded up; a loss is no reason to stretch the day."""
        profit, minutes = self._best
        return max(0, -(-profit // minutes)) if minutes else 0

    def _tighten(self, charge: int, bound: int) -> None:
        most = Fraction(charge) + Fraction(max(0, bound), self._least)
        self._bound = most if self._bound is None else min(self._bound, most)

    def _take(self, routes: Routes) -> bool:
        """Keep the routes if they keep more promises, or as many at a better ratio."""
        figures = self._figures(routes)
        mine, theirs = (len(missing_promises(self._model, plan)) for plan in (self._routes, routes))
        if theirs > mine or (theirs == mine and not _earns_more(figures, self._best)):
            return False
        self._routes, self._best = routes, figures
        return True

    def _figures(self, routes: Routes) -> tuple[int, int]:
        """(profit in ticks, paid minutes)"""
        minutes = 0
        for crew, route in zip(self._model.problem.crews, routes, strict=True):
            if route:
                timed = schedule_route(self._model.problem, crew.id, self._model.ids(route))
                assert not isinstance(timed, Broken), timed
                minutes += timed.paid_minutes
        return routes_value(self._model, routes), minutes


def charged_by_the_minute(model: Model, ticks: int) -> Model:
    """The same day with each paid minute dearer by so many ticks."""
    crew = model.crew.copy()
    crew[:, MINUTE_TICKS] += ticks
    return replace(model, crew=crew)


def least_minutes(model: Model) -> int:
    """No crew that works at all is paid for fewer minutes; at least 1."""
    drive = quickest(model.minutes)
    if len(drive) > MOST_PLACES_FOR_DETOURS:
        drive = np.zeros_like(drive)
    out = drive[model.crew[:, START]][:, model.job_place]
    home = drive[model.job_place][:, model.crew[:, END]].T
    every = out + model.service + home
    return max(1, int(every[model.allowed].min(initial=10**9)))


def _earns_more(one: tuple[int, int], other: tuple[int, int]) -> bool:
    """By profit a minute; a day on which nobody works earns 0."""
    return one[0] * max(other[1], 1) > other[0] * max(one[1], 1)


def _cents_an_hour(ticks_a_minute: Fraction) -> float:
    return float(ticks_a_minute * 60 / TICKS_PER_CENT)


def _routes_of(model: Model, plan: Plan) -> Routes:
    orders = {route.crew: [model.index_of_job[job] for job in route.job_ids] for route in plan.routes}
    return [orders.get(crew, []) for crew in model.problem.crew_ids]
