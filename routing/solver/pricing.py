"""Pricing of one crew class: better columns, and the most that any route of the class is worth."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .classes import ClassPricing
from .compiled import LOST, Day
from .model import Ints
from .pricing_kernel import DONE, Labels, Words, completion_bounds, price

NO_BOUNDS = np.zeros((0, 0, 2), np.int64)
MOST_LABELS = 300_000
MOST_ROUTES = 50_000


@dataclass(frozen=True, slots=True)
class Priced:
    """`most_ticks`: no route of the class is worth more at these prices (exact if it is reached)."""

    most_ticks: int
    routes: tuple[tuple[int, ...], ...]
    """Routes above the target, the best first; fixed stops included."""


def best_routes(
    pricing: ClassPricing, day: Day, keeps: Words, prices: Ints, floor: int, most: int
) -> Priced:
    """Up to `most` routes worth more than `floor` at these prices.

    First only those that come near what the relaxed bound promises; all of them if there are none.
    """
    group, root, reduced = pricing.group, pricing.root(prices), pricing.reduced(prices)
    jobs = pricing.worthwhile(reduced)
    bounds, ceiling = _bounds(pricing, day, root, reduced, jobs)
    if ceiling <= floor:
        return Priced(max(ceiling, LOST), ())
    targets = [floor + 1]
    if pricing.bounded:
        targets.insert(0, floor + 1 + (ceiling - floor) // 3)
    for target in targets:
        labels = price(
            day,
            root,
            reduced,
            jobs,
            keeps,
            bounds,
            pricing.grain,
            target,
            False,
            MOST_LABELS,
            MOST_ROUTES,
        )
        if len(labels.worth) or labels.status != DONE:
            break
    complete = labels.status == DONE
    top = int(labels.worth.max(initial=LOST))
    most_ticks = max(top, floor if len(labels.worth) == 0 else top) if complete else ceiling
    return Priced(most_ticks, tuple(_routes(labels, group.prefix, most)))


def _bounds(
    pricing: ClassPricing, day: Day, root: object, reduced: Ints, jobs: Ints
) -> tuple[Ints, int]:
    if not pricing.bounded:
        gains = int(np.maximum(reduced[jobs], 0).sum())
        return NO_BOUNDS, gains + root.ticks  # type: ignore[attr-defined]
    bounds, ceiling = completion_bounds(day, root, reduced, jobs, pricing.grain)
    return bounds, int(ceiling)


def _routes(labels: Labels, prefix: Sequence[int], most: int) -> list[tuple[int, ...]]:
    order = np.argsort(-labels.worth, kind="stable")
    routes: list[tuple[int, ...]] = []
    seen: set[tuple[int, ...]] = set()
    for index in order.tolist():
        route = (*prefix, *trace(labels, int(labels.ends[index])))
        key = tuple(sorted(route))
        if key not in seen:
            seen.add(key)
            routes.append(route)
        if len(routes) == most:
            break
    return routes


def trace(labels: Labels, label: int) -> list[int]:
    """Jobs of a label in order."""
    jobs = []
    while label >= 0 and labels.job[label] >= 0:
        jobs.append(int(labels.job[label]))
        label = int(labels.parent[label])
    return jobs[::-1]
