"""Exact prices to place, by solving again with the job forced into the plan.

The best plan with job j forced in is worth V_j, the best plan of all V. Raising j's price by d changes every plan with
j by d and no other, so the best plan holds j exactly if d > V - V_j: the price to place is the least whole number of
cents above V - V_j. Both values must be proved; where time does not allow that, the lower estimate stands.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from .finish import NO_PRICES, ExactPrices, missing_promises, routes_value
from .improve import mend
from .model import Model, build_model
from .money import TICKS_PER_CENT
from .stopping import Watch

if TYPE_CHECKING:
    from .optimiser import Optimiser

MOST_JOBS = 40
"""More left-out jobs than this are not solved again, whatever the time."""


def exact_prices(optimiser: "Optimiser", seed: int, estimates: Mapping[int, int], watch: Watch) -> ExactPrices:
    """Prices of the jobs of `estimates` (lower estimates by job), the cheapest first, until the watch says stop."""
    model, routes = optimiser.model, optimiser.routes
    if not optimiser.closed or missing_promises(model, routes):
        return NO_PRICES
    best = routes_value(model, routes)
    cents: dict[int, int] = {}
    hopeless: set[int] = set()
    for job in sorted(estimates, key=lambda j: (estimates[j], j))[:MOST_JOBS]:
        if watch.seconds_left() <= 0:
            break
        forced = _with_forced(model, job)
        found = _solved(forced, routes, seed, optimiser, watch)
        if found.promises_refuted:
            hopeless.add(job)
        elif found.closed and not missing_promises(forced, found.routes):
            cents[job] = max(0, best - routes_value(forced, found.routes)) // TICKS_PER_CENT + 1
    return ExactPrices(cents, frozenset(hopeless))


def _solved(forced: Model, routes: Sequence[Sequence[int]], seed: int, like: "Optimiser", watch: Watch) -> "Optimiser":
    start = mend(forced, [list(route) for route in routes])
    found = type(like)(forced, start, seed, like.params, watch.share(1.0).started())
    found.run(lambda: None)
    return found


def _with_forced(model: Model, job: int) -> Model:
    jobs = tuple(replace(each, must_do=True) if j == job else each for j, each in enumerate(model.problem.jobs))
    return build_model(model.problem.replace(jobs=jobs))
