"""What a left-out job would have to pay, and what a crew-hour is worth: read from the bound's prices.

Price to place, a lower estimate. A plan that holds job j uses a route of some class g through j; at
the prices of the bound that route is worth at most `through(g, j)`, while a route of the class is
worth at most `worth(g)`. So a plan with j is worth at most bound - min over g of (worth(g) -
through(g, j)), and j's price must rise by at least

    min over g of (worth(g) - through(g, j))  -  (bound - value of the plan)

before any plan with j beats the plan at hand. No smaller rise places the job; on a proved day with
a tight bound this rise, or little more, does. Cents are rounded up.

Crew-hour worth. One more crew of class g adds at most worth(g): the same prices prove the bound of
that larger day. The figure is the sum of worth(g) over all crews, divided by the sum of their shift
hours: what one more crew-hour like those of the day adds at most, after its own costs.
"""

from collections.abc import Callable, Sequence

import numpy as np

from .bounds_kernel import Bounds, no_bounds
from .classes import ALWAYS, ClassPricing
from .colgen import BoundAt, kernel_cuts
from .compiled import LOST, Day
from .model import SHIFT_END, SHIFT_START
from .money import TICKS_PER_CENT
from .pricing import completions
from .pricing_kernel import DONE, TO_FREER, Words, price

CAPS_CENTS = (500, 2_000, 8_000, 32_000)
MOST_LABELS = 60_000


def crew_hour_worth_cents(groups: Sequence[ClassPricing], day: Day, bound: BoundAt, bonus: int) -> int | None:
    """Whole cents per crew-hour; None where only promises are scarce or no crew is free to choose."""
    worth, minutes = 0, 0
    for pricing, ticks in zip(groups, bound.groups.tolist(), strict=True):
        if pricing.group.prefix or (bonus and ticks > bonus // 2):
            continue
        crew = day.crew[pricing.group.crew]
        worth += ticks * pricing.group.size
        minutes += int(crew[SHIFT_END] - crew[SHIFT_START]) * pricing.group.size
    return round(worth * 60 / (minutes * TICKS_PER_CENT)) if minutes else None


class PriceFinder:
    """Lower estimates of the rise that places a job, at the prices of one bound."""

    def __init__(self, groups: Sequence[ClassPricing], day: Day, keeps: Words, bound: BoundAt, gap: int):
        self._day, self._keeps, self._bound, self._gap = day, keeps, bound, gap
        self._groups = [(g, pricing) for g, pricing in enumerate(groups) if pricing.possible]
        self._tails: dict[int, Bounds] = {}
        self._cuts = kernel_cuts(bound.cuts, len(day.job_place))

    def rise_cents(self, job: int) -> int:
        """Whole cents, rounded up; 0 where the prices prove nothing."""
        lost = self._least_loss(job) - self._gap
        return max(0, -(-lost // TICKS_PER_CENT))

    def _least_loss(self, job: int) -> int:
        """Ticks between the best route of a class and its best route through the job, at least.

        What is no more than the gap says nothing, so it is not looked for.
        """
        proved = 0
        for ticks in (cap * TICKS_PER_CENT for cap in CAPS_CENTS if cap * TICKS_PER_CENT > self._gap):
            losses = [self._loss(g, pricing, job, ticks) for g, pricing in self._groups]
            known = [loss for loss in losses if loss is not None]
            if len(known) < len(losses):
                return proved
            least = min(known, default=ticks)
            if least < ticks:
                return least
            proved = ticks
        return proved

    def _loss(self, g: int, pricing: ClassPricing, job: int, cap: int) -> int | None:
        """This class's loss, `cap` where it is that much or more, None where it cannot be told."""
        if job not in pricing.group.jobs:
            return cap
        reduced = pricing.reduced(self._bound.jobs)
        worth = int(self._bound.groups[g])
        safe = pricing.group.slack[job] < ALWAYS
        own = int(reduced[job]) + (int(pricing.group.slack[job]) if safe else 0)
        reduced[job] = 0
        root = pricing.root(self._bound.jobs)
        root = root._replace(ticks=root.ticks + own)
        labels = price(
            self._day,
            root,
            reduced,
            pricing.group.jobs,
            self._never_forgetting(job),
            pricing.kinds,
            self._cuts,
            self._tail(g, pricing) if safe else no_bounds(),
            worth - cap + 1,
            TO_FREER,
            job,
            MOST_LABELS,
            MOST_LABELS,
            pricing.stop,
        )
        if labels.status != DONE:
            return None
        top = int(labels.worth.max(initial=LOST))
        return cap if top == LOST else worth - top

    def _never_forgetting(self, job: int) -> Words:
        keeps = self._keeps.copy()
        keeps[:, job >> 6] |= np.uint64(1) << np.uint64(job & 63)
        return keeps

    def _tail(self, g: int, pricing: ClassPricing) -> Bounds:
        """Most ticks of any completion; with the job's own worth paid at the root, of one through it too."""
        if g not in self._tails:
            reduced, root = pricing.reduced(self._bound.jobs), pricing.root(self._bound.jobs)
            self._tails[g] = completions(pricing, self._day, root, reduced, pricing.group.jobs, self._keeps, 1)[0]
        return self._tails[g]


def prices_to_place(finder: PriceFinder, jobs: Sequence[int], over: Callable[[], bool]) -> dict[int, int]:
    """The rise for each job, until time is over; then 0, which claims nothing."""
    return {job: 0 if over() else finder.rise_cents(job) for job in jobs}
