"""Every route that a better plan could hold.

At the prices that prove the bound, a plan worth more than a floor can only hold routes whose worth lies within the
gap between bound and floor of the best worth of their class. If all of these can be listed, the best choice among
them is the best plan there is, or no plan is worth more than the floor.

The number of routes grows about with the cube of the gap. So the floor need not be the best plan known: the lowest
that can be reached is tried (`Reach`), which brings the bound down to it or finds the best plan.
"""

from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np

from .classes import ClassPricing
from .colgen import BoundAt, kernel_cuts
from .compiled import Day
from .master import Column
from .pricing import completions, trace
from .pricing_kernel import DONE, TO_SAME, Labels, price

CAUTION = 0.7
"""The share of the labels allowed that an attempt is planned to make."""


class Reach:
    """The widest gap within which all routes can be listed, as far as the attempts so far tell."""

    def __init__(self, labels: int, most_labels: int):
        self.labels = labels
        """How many the next attempt may make; twice as many each time."""
        self._most_labels = most_labels
        self._gap = float("inf")

    def within(self, gap: int) -> int:
        """Ticks of the gap to try, if this is the whole one."""
        return int(min(gap, self._gap))

    def made(self, gap: int, labels: int) -> None:
        """All routes within this gap took so many labels."""
        self._allow_more()
        self._gap = gap * (CAUTION * self.labels / max(labels, 1)) ** (1 / 3)

    def failed(self, gap: int) -> None:
        """Within this gap there were too many labels, or routes to choose among."""
        self._allow_more()
        self._gap = gap / 2

    def _allow_more(self) -> None:
        self.labels = min(2 * self.labels, self._most_labels)


@dataclass(frozen=True, slots=True)
class Listing:
    """All routes within a gap, one order for each set of jobs."""

    columns: list[Column]
    labels: int
    """Partial routes that were looked at."""


def routes_within(
    groups: Sequence[ClassPricing],
    day: Day,
    bound: BoundAt,
    gap: int,
    most_labels: int,
    most_routes: int,
    threads: Executor,
) -> Listing | None:
    """All routes within `gap` ticks, or None if there are too many of them, or of labels, in all classes together."""
    possible = [g for g, pricing in enumerate(groups) if pricing.possible]
    left = [most_labels]

    def listed(g: int) -> Labels | None:
        """Threads may see more left than there is, never less, so whether all is listed does not depend on them."""
        if left[0] < 0:
            return None
        labels = _labels(groups[g], day, bound, int(bound.groups[g]) - gap, max(1, left[0]))
        left[0] = -1 if labels is None else left[0] - len(labels.job)
        return labels

    columns: list[Column] = []
    made = 0
    for g, labels in zip(possible, threads.map(listed, possible), strict=True):
        if labels is None or made + len(labels.job) > most_labels or groups[g].stop[0]:
            return None
        made += len(labels.job)
        columns.extend(_columns(g, groups[g], labels, bound))
        if len(columns) > most_routes:
            return None
    return Listing(columns, made)


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
