"""Pricing of one crew class: better columns, and the most that any route of the class is worth."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from .bounds_kernel import Bounds, Root, completion_bounds, no_bounds
from .classes import ClassPricing
from .compiled import LOST, Day
from .model import METRE_TICKS, MINUTE_TICKS, Ints
from .pricing_kernel import DONE, TO_ANY, TO_FREER, CutPrices, Flags, Labels, Words, price

SLACK_TICKS = 30
"""A hundredth of a cent, to tell a better route from rounded prices."""
QUICK_SHARES = (0.8, 0.5, 0.25, 0.0)
"""Quick passes look for routes in the upper part between the floor and the ceiling first."""
QUICK_LABELS = 150_000
MOST_LABELS = 600_000
MOST_ROUTES = 50_000
MANY_LABELS = 40_000
"""When a full pass makes more, the next one gets sharper completion bounds."""
MOST_CELLS = 3_000_000


@dataclass(frozen=True, slots=True)
class Priced:
    """`most_ticks`: no route of the class is worth more at these prices (exact if `complete`)."""

    most_ticks: int
    routes: tuple[tuple[tuple[int, ...], int], ...]
    """(jobs in order, worth at these prices), the best first; fixed stops included."""
    complete: bool


def best_routes(
    pricing: ClassPricing,
    day: Day,
    keeps: Words,
    prices: Ints,
    cuts: CutPrices,
    floor: int,
    most: int,
    free: Flags | None = None,
) -> Priced:
    """Up to `most` routes worth more than `floor` at these prices, of `free` jobs only where they are given.

    Quick passes that may miss routes come first. Then every route is looked for that is worth more than the best of
    theirs; only where that pass was too long is `most_ticks` no better than what the completion bounds promise.
    """
    if not pricing.possible:
        return Priced(0, (), True)
    root, reduced = pricing.root(prices), pricing.reduced(prices)
    jobs = pricing.worthwhile(reduced)
    if free is not None:
        jobs = np.ascontiguousarray(jobs[free[jobs]])
    bounds, ceiling = completions(pricing, day, root, reduced, jobs, keeps, pricing.sharpness)
    if ceiling <= floor:
        return Priced(ceiling, (), True)
    floor += SLACK_TICKS

    def run(yields: int, target: int, most_labels: int) -> Labels:
        return price(
            day,
            root,
            reduced,
            jobs,
            keeps,
            pricing.kinds,
            cuts,
            bounds,
            target,
            yields,
            -1,
            most_labels,
            MOST_ROUTES,
            pricing.stop,
        )

    found: list[Labels] = []
    for share in QUICK_SHARES:
        found.append(run(TO_ANY, floor + 1 + int((ceiling - floor) * share), QUICK_LABELS))
        if len(found[-1].worth):
            break
    best = int(found[-1].worth.max(initial=floor))
    found.append(run(TO_FREER, best + 1, MOST_LABELS))
    if len(found[-1].job) > MANY_LABELS:
        pricing.sharpen()
    routes = _routes(found, pricing.group.prefix, most)
    if any(pricing.watch_broken(route) for route, _ in routes):
        return best_routes(pricing, day, keeps, prices, cuts, floor - SLACK_TICKS, most, free)
    if found[-1].status != DONE:
        return Priced(ceiling, routes, False)
    return Priced(max(int(found[-1].worth.max(initial=LOST)), best), routes, True)


def completions(
    pricing: ClassPricing, day: Day, root: Root, reduced: Ints, jobs: Ints, keeps: Words, sharpness: int
) -> tuple[Bounds, int]:
    """(completion bounds with ng-sets of this size, the most that any route of these jobs is worth)."""
    if not pricing.bounded or not len(jobs):
        gains = int(np.maximum(reduced[jobs], 0).sum())
        return no_bounds(), gains + root.ticks
    steps = pricing.span // pricing.grain + 1
    fitting = int(np.log2(max(1, MOST_CELLS / (len(jobs) * steps))))
    near = nearest(day, root.crew, reduced, jobs, keeps, max(1, min(sharpness, fitting)))
    bounds, ceiling = completion_bounds(day, root, reduced, jobs, near, pricing.grain, pricing.stop)
    return bounds, int(ceiling)


def nearest(day: Day, k: int, reduced: Ints, jobs: Ints, keeps: Words, size: int) -> Ints:
    """[i, n] for each job those of its ng-set that would pay best right after it, as indices; -1 for none."""
    places, crew = day.job_place[jobs], day.crew[k]
    drives = np.minimum(day.minutes[np.ix_(places, places)], 10**6)
    metres = day.metres[np.ix_(places, places)]
    won = reduced[jobs] - (drives + day.service[k, jobs]) * crew[MINUTE_TICKS] - metres * crew[METRE_TICKS]
    held = keeps[jobs][:, jobs >> 6] >> (jobs & 63).astype(np.uint64) & np.uint64(1) > 0
    np.fill_diagonal(held, False)
    best_first = np.argsort(np.where(held, -won, 10**18), axis=1, kind="stable")
    near = np.ascontiguousarray(best_first[:, : min(size, len(jobs))])
    return np.where(np.take_along_axis(held, near, axis=1), near, -1)


def _routes(passes: Sequence[Labels], prefix: Sequence[int], most: int) -> tuple[tuple[tuple[int, ...], int], ...]:
    """The best routes of all passes, one for each set of jobs."""
    ends = [(int(worth), n, int(end)) for n, labels in enumerate(passes) for worth, end in _best_ends(labels, 4 * most)]
    routes: dict[tuple[int, ...], tuple[tuple[int, ...], int]] = {}
    for worth, n, end in sorted(ends, key=lambda entry: -entry[0]):
        route = (*prefix, *trace(passes[n], end))
        routes.setdefault(tuple(sorted(route)), (route, worth))
        if len(routes) == most:
            break
    return tuple(routes.values())


def _best_ends(labels: Labels, most: int) -> Iterable[tuple[int, int]]:
    order = np.argsort(-labels.worth, kind="stable")[:most]
    return zip(labels.worth[order].tolist(), labels.ends[order].tolist(), strict=True)


def trace(labels: Labels, label: int) -> list[int]:
    """Jobs of a label in order."""
    jobs = []
    while label >= 0 and labels.job[label] >= 0:
        jobs.append(int(labels.job[label]))
        label = int(labels.parent[label])
    return jobs[::-1]
