"""Pricing of one crew class: better columns, and the most that any route of the class is worth."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .classes import ClassPricing
from .compiled import LOST, Day
from .model import Ints
from .pricing_kernel import DONE, TO_ANY, TO_FREER, Labels, Root, Words, completion_bounds, price

NO_BOUNDS = np.zeros((0, 0, 2), np.int64)
SLACK_TICKS = 30
"""A hundredth of a cent, to tell a better route from rounded prices."""
MOST_LABELS = 300_000
MOST_ROUTES = 50_000


@dataclass(frozen=True, slots=True)
class Priced:
    """`most_ticks`: no route of the class is worth more at these prices (exact if it is reached)."""

    most_ticks: int
    routes: tuple[tuple[tuple[int, ...], int], ...]
    """(jobs in order, worth at these prices), the best first; fixed stops included."""


def best_routes(pricing: ClassPricing, day: Day, keeps: Words, prices: Ints, floor: int, most: int) -> Priced:
    """Up to `most` routes worth more than `floor` at these prices.

    Quick passes that may miss routes come first; only where they find nothing is every route
    looked at, and only then is `most_ticks` better than what the relaxed bound promises.
    """
    if not pricing.possible:
        return Priced(0, ())
    group, root, reduced = pricing.group, pricing.root(prices), pricing.reduced(prices)
    jobs = pricing.worthwhile(reduced)
    bounds, ceiling = _bounds(pricing, day, root, reduced, jobs)
    if ceiling <= floor:
        return Priced(floor, ())
    floor += SLACK_TICKS
    steps = [(TO_ANY, floor + 1 + (ceiling - floor) // 3), (TO_ANY, floor + 1)]
    steps += [(TO_FREER, floor + 1 + (ceiling - floor) // 3), (TO_FREER, floor + 1)]
    for yields, target in steps:
        labels = price(
            day,
            root,
            reduced,
            jobs,
            keeps,
            bounds,
            pricing.grain,
            target,
            yields,
            -1,
            MOST_LABELS,
            MOST_ROUTES,
        )
        if len(labels.worth):
            break
    complete = labels.status == DONE and yields == TO_FREER
    top = int(labels.worth.max(initial=LOST))
    most_ticks = max(top, floor if len(labels.worth) == 0 else top) if complete else ceiling
    return Priced(most_ticks, tuple(_routes(labels, group.prefix, most)))


def _bounds(pricing: ClassPricing, day: Day, root: Root, reduced: Ints, jobs: Ints) -> tuple[Ints, int]:
    if not pricing.bounded:
        gains = int(np.maximum(reduced[jobs], 0).sum())
        return NO_BOUNDS, gains + root.ticks
    bounds, ceiling = completion_bounds(day, root, reduced, jobs, pricing.grain)
    return bounds, int(ceiling)


def _routes(labels: Labels, prefix: Sequence[int], most: int) -> list[tuple[tuple[int, ...], int]]:
    order = np.argsort(-labels.worth, kind="stable")
    routes: list[tuple[tuple[int, ...], int]] = []
    seen: set[tuple[int, ...]] = set()
    for index in order.tolist():
        route = (*prefix, *trace(labels, int(labels.ends[index])))
        key = tuple(sorted(route))
        if key not in seen:
            seen.add(key)
            routes.append((route, int(labels.worth[index])))
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
