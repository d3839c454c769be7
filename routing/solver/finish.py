"""From routes of job indices to the plan that is handed out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from .construct import Routes, RouteValue
from .model import MINUTE_TICKS, NEVER, SHIFT_END, SHIFT_START, Ints, Model
from .money import to_cents
from .plan import OPTIMAL_GAP, LeftOut, Plan, RoutePlan, Status, gap_between
from .reasons import ReasonFinder
from .timing import Broken, schedule_route

VERSION = "1"
HELPED_BY_PRICE = ("not_worth_a_slot", "crew_hours_full")


@dataclass(frozen=True, slots=True)
class ExactPrices:
    """Whole cents by job; `hopeless` are jobs that no plan holds which keeps every rule and promise."""

    cents: Mapping[int, int]
    hopeless: frozenset[int]


NO_PRICES = ExactPrices({}, frozenset())


@dataclass(frozen=True, slots=True)
class Clash:
    """The proof that not all promises can be kept: in words where a smallest set of them is known."""

    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Findings:
    """What is known besides the routes: the bound, prices, and how it was found."""

    bound_ticks: int
    seconds: float = 0.0
    solver: Mapping[str, object] = field(default_factory=dict)
    prices_cents: Mapping[int, int] = field(default_factory=dict)
    exact: ExactPrices = NO_PRICES
    crew_hour_worth_cents: int | None = None
    clash: Clash | None = None


def simple_bound(model: Model) -> int:
    """Ticks that no plan can exceed, without any search.

    Each job by the crew that it suits best, its own minutes paid for and no drive at all; of these no more than fit
    into the minutes of all shifts, nor into any kind of capacity (the least of these fractional knapsacks).
    """
    if not model.crew_count or not model.job_count:
        return 0
    own = np.where(model.allowed, model.gain - model.crew[:, [MINUTE_TICKS]] * model.service, 0).max(axis=0)
    minutes = np.where(model.allowed, model.service, NEVER).min(axis=0)
    limits = [(minutes, int((model.crew[:, SHIFT_END] - model.crew[:, SHIFT_START]).sum()))]
    limits += [(uses, int(most.sum())) for uses, most in zip(model.uses.T, model.capacity.T, strict=True)]
    return min(_knapsack(own, sizes, room) for sizes, room in limits)


def _knapsack(worth: Ints, sizes: Ints, room: int) -> int:
    """The most that can be packed where things may be cut, rounded up; worthless things stay out."""
    wanted = worth > 0
    worth, sizes = worth[wanted], sizes[wanted]
    order = np.argsort(-(worth / np.maximum(sizes, 1e-9)), kind="stable")
    worth, filled = worth[order], np.cumsum(sizes[order])
    whole = int(np.searchsorted(filled, room, side="right"))
    total = int(worth[:whole].sum())
    if whole == len(worth):
        return total
    before = int(filled[whole - 1]) if whole else 0
    size = int(filled[whole]) - before
    return total - (-int(worth[whole]) * (room - before) // size)


def routes_value(model: Model, routes: Routes) -> int:
    """Exact ticks of routes that keep their times."""
    value = RouteValue(model)
    ticks = [value(k, route) for k, route in enumerate(routes)]
    assert all(tick is not None for tick in ticks), "a route of the plan breaks its times"
    return sum(tick for tick in ticks if tick is not None)


def finished_plan(model: Model, routes: Routes, findings: Findings) -> Plan:
    """The plan with times, reasons, bound and gap. `routes` keep every rule but perhaps promises."""
    value = routes_value(model, routes)
    broken = missing_promises(model, routes)
    cents = to_cents(value)
    bound = max(to_cents(findings.bound_ticks), cents)
    gap = gap_between(bound, cents)
    return Plan(
        status=_status(broken, findings.clash, gap),
        value_cents=cents,
        upper_bound_cents=bound,
        gap=gap,
        routes=tuple(_timed(model, routes)),
        left_out=tuple(_left_out(model, routes, findings)),
        crew_hour_worth_cents=findings.crew_hour_worth_cents,
        seconds=round(findings.seconds, 3),
        solver={"version": VERSION, **findings.solver},
        reasons=_reasons(model, broken, findings.clash),
    )


def _status(broken: Sequence[int], clash: Clash | None, gap: float) -> Status:
    if broken:
        return "infeasible" if clash else "undecided"
    return "optimal" if gap <= OPTIMAL_GAP else "feasible"


def missing_promises(model: Model, routes: Routes) -> list[int]:
    """Promised or fixed jobs that the routes do not hold."""
    placed = {job for route in routes for job in route}
    return [j for j in range(model.job_count) if model.must_do[j] and j not in placed]


def _timed(model: Model, routes: Sequence[Sequence[int]]) -> list[RoutePlan]:
    plans = []
    for crew, route in zip(model.problem.crews, routes, strict=True):
        if route:
            timed = schedule_route(model.problem, crew.id, model.ids(route))
            assert not isinstance(timed, Broken), timed
            plans.append(timed)
    return plans


def _left_out(model: Model, routes: Routes, findings: Findings) -> list[LeftOut]:
    placed = {job for route in routes for job in route}
    finder = ReasonFinder(model, routes)
    left = [j for j in range(model.job_count) if j not in placed]
    return [_left_out_job(model, finder, findings, j) for j in left]


def _left_out_job(model: Model, finder: ReasonFinder, findings: Findings, job: int) -> LeftOut:
    reason = finder.reason(job)
    name, exact = model.problem.jobs[job].id, findings.exact
    if reason not in HELPED_BY_PRICE or job in exact.hopeless:
        return LeftOut(name, reason)
    if job in exact.cents:
        return LeftOut(name, reason, exact.cents[job], price_is_exact=True)
    return LeftOut(name, reason, findings.prices_cents.get(job))


def _reasons(model: Model, broken: Sequence[int], clash: Clash | None) -> tuple[str, ...]:
    names = ", ".join(model.ids(broken))
    if not broken:
        return ()
    if clash is None:
        return (f"not decided in time whether all promises can be kept: no plan was found that keeps {names} too",)
    return clash.words or (f"not all promises can be kept; the best plan leaves out {names}",)
