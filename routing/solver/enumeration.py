"""Every route that a better plan could hold.

At the prices that prove the bound, a plan worth more than the best known can only hold routes whose
worth lies within the gap of the best worth of their class. If all of these can be listed, the best
choice among them is the best plan there is.
"""

from collections.abc import Iterator

import numpy as np

from .classes import ClassPricing
from .colgen import BoundAt, kernel_cuts
from .compiled import Day
from .master import Column
from .pricing import completions, trace
from .pricing_kernel import DONE, TO_SAME, Labels, price


def routes_within(
    groups: list[ClassPricing], day: Day, bound: BoundAt, gap: int, most_labels: int, most_routes: int
) -> list[Column] | None:
    """All routes within `gap` ticks, one order for each set of jobs, or None if there are too many.

    `most_labels` are for all classes together.
    """
    columns: list[Column] = []
    for g, pricing in enumerate(groups):
        if not pricing.possible:
            continue
        labels = _labels(pricing, day, bound, int(bound.groups[g]) - gap, most_labels)
        if labels is None:
            return None
        most_labels -= len(labels.job)
        columns.extend(_columns(g, pricing, labels, bound))
        if len(columns) > most_routes:
            return None
    return columns


def _labels(pricing: ClassPricing, day: Day, bound: BoundAt, target: int, most_labels: int) -> Labels | None:
    root, reduced, jobs = pricing.root(bound.jobs), pricing.reduced(bound.jobs), pricing.group.jobs
    words = (len(day.job_place) + 63) // 64
    keeps = np.full((len(day.job_place), words), ~np.uint64(0))
    bounds, ceiling = completions(pricing, day, root, reduced, jobs, keeps, pricing.sharpness)
    if ceiling < target:
        jobs = jobs[:0]
    cuts = kernel_cuts(bound.cuts, len(day.job_place), forgetful=False)
    most, stop = most_labels, pricing.stop
    labels = price(day, root, reduced, jobs, keeps, pricing.scarce, cuts, bounds, target, TO_SAME, -1, most, most, stop)
    return labels if labels.status == DONE else None


def _columns(g: int, pricing: ClassPricing, labels: Labels, bound: BoundAt) -> Iterator[Column]:
    if not len(labels.ends):
        return
    order = np.argsort(-labels.worth, kind="stable")
    _, firsts = np.unique(labels.visited[labels.ends[order]], axis=0, return_index=True)
    for index in np.sort(firsts).tolist():
        at = order[index]
        route = (*pricing.group.prefix, *trace(labels, int(labels.ends[at])))
        paid = int(bound.jobs[list(route)].sum()) + sum(price * cut.whole_share(route) for cut, price in bound.cuts)
        yield Column(g, route, int(labels.worth[at]) + paid)
