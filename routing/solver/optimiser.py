"""The search for the best plan and for its proof, taking turns until one of them is done.

1. Annealing finds good routes; every route that it accepts goes into the pool of columns. It runs beside
   the first rounds of pricing, on a thread of its own; later it works on the plans of dives.
2. Column generation over the pool gives prices, better routes and a valid bound.
3. The best choice of whole routes from the pool, or a dive into the linear program, gives a better plan, from
   which annealing goes on.
4. Every route that a plan worth more than a floor could hold is listed; the bound comes down to that floor, or the
   best choice is optimal.
5. Until then, cycles are forbidden and cuts added wherever the linear program has settled.
"""

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

import numpy as np

from .colgen import ColumnGeneration
from .compiled import Day, day_of
from .construct import Routes
from .enumeration import Reach, routes_within
from .finish import simple_bound
from .listed import ListedRoutes, Part
from .master import Column, NoPrices, Packing, pack
from .model import FIXED_TICKS, METRE_TICKS, MINUTE_TICKS, OVERTIME_TICKS, SHIFT_END, SHIFT_START, Ints, Model
from .money import TICKS_PER_CENT
from .params import Params
from .plan import OPTIMAL_GAP
from .prices import PriceFinder, crew_hour_worth_cents, prices_to_place
from .search import FoundRoute, Search
from .stopping import Watch

MOST_BONUS = 10**17
NEARLY_SETTLED = 0.3
SETTLED = 0.1
"""The linear program has settled when it differs from the bound by less than this share of the gap."""
WORTH_LISTING = 0.95
"""Routes are listed only down to a floor that leaves no more of the gap than this share."""

Result = TypeVar("Result")


def promise_ticks(model: Model) -> int:
    """A bonus for each promise kept that outweighs every other difference between two plans."""
    if not model.must_do.any():
        return 0
    spans = model.crew[:, SHIFT_END] - model.crew[:, SHIFT_START]
    minute = model.crew[:, MINUTE_TICKS] + model.crew[:, OVERTIME_TICKS]
    costs = int((spans * minute + model.crew[:, FIXED_TICKS]).sum())
    legs = model.job_count + model.crew_count
    costs += int(model.metres.max()) * int(model.crew[:, METRE_TICKS].max()) * legs
    gains = int(abs(model.gain).max(axis=0).sum())
    return min(2 * (costs + gains) + 1, MOST_BONUS // (1 + int(model.must_do.sum())))


def worth_step(day: Day) -> int:
    """The most ticks of which the worth of every plan is a whole multiple.

    On days of the trade a fraction of a cent; where only gains of round amounts count, as much as they are round by.
    """
    metres = int(np.gcd.reduce(day.metres, axis=None))
    crews = day.crew[:, [FIXED_TICKS, MINUTE_TICKS, OVERTIME_TICKS]]
    parts = [day.gain[day.allowed], crews.ravel(), day.crew[:, METRE_TICKS] * metres]
    return max(1, int(np.gcd.reduce(np.concatenate(parts))))


class Optimiser:
    """Best routes so far and the best bound on any, both in ticks with promise bonuses."""

    def __init__(self, model: Model, routes: Routes, seed: int, params: Params, watch: Watch):
        self.model, self.params, self._watch = model, params, watch
        self.bonus = promise_ticks(model)
        self._simple_bound = simple_bound(model)
        gain = model.gain + self.bonus * model.must_do
        self.day: Day = day_of(model, gain)
        self.search = Search(model, self.day, routes, seed)
        self.pool = ColumnGeneration(model, self.day)
        self.routes, self.value = routes, self.search.best_value
        self._step = worth_step(self.day)
        self.bound: int | None = None
        self.turns = 0
        self._cooled, self._cooling = 0, params.cooling_turns
        self._annealing = False
        self._settled = False
        """Whether better routes would change the linear program so little that it is time for a list, or for cuts."""
        self._tightened = 0
        self._plans_at, self._plan_rounds = 0, params.plan_rounds
        self._comparing = threading.Lock()
        self._chosen: Routes | None = None
        self._reach = Reach(params.first_labels, params.most_labels)
        self._listed: ListedRoutes | None = None
        self._floor = 0
        """Every plan worth more than these ticks is made of listed routes."""
        self._part_size = params.few_routes
        for k, route in enumerate(routes):
            if route:
                self.pool.add(self.pool.group_of[k], tuple(route), self.search.route_ticks(k, route))

    def run(self, on_turn: Callable[[], None]) -> None:
        """Work until the plan is proved best or the watch says stop; `on_turn` after each step."""
        with self._until(self._watch):
            while not self._over() and not self.closed:
                self.turns += 1
                if self._listed is not None:
                    self._narrow()
                elif self._settled and self._lists_enough():
                    self._list()
                elif self.pool.rounds < self.params.annealing_rounds:
                    self._while_annealing(self._turn, on_turn)
                else:
                    self._turn()
                on_turn()

    @contextmanager
    def _until(self, watch: Watch) -> Iterator[None]:
        """Let compiled code end early when the watch's time is over."""
        self.pool.stop[0] = False
        timer = threading.Timer(min(max(0.0, watch.seconds_left()), threading.TIMEOUT_MAX), self._stop)
        timer.daemon = True
        timer.start()
        try:
            yield
        finally:
            timer.cancel()

    def _stop(self) -> None:
        self.pool.stop[0] = True

    def _turn(self) -> None:
        """Prices and a bound, without cycles or with cuts where the program had settled; now and then a plan."""
        if self._settled:
            self._tightened += 1
            if not self.pool.break_cycles():
                self.pool.cut()
        more = self._price()
        self._settled = self.pool.best is not None and (not more or self._settles(SETTLED))
        if self.pool.best is not None and self.pool.rounds >= self._plans_at:
            self._find_plans()

    def _find_plans(self) -> None:
        """A plan from the linear program, or while that says little yet, from the routes known.

        Less and less often where it is no better.
        """
        before = self.value
        if self._settles(NEARLY_SETTLED):
            self._dive(self.pool.dive)
            self._plan_rounds = self.params.plan_rounds if self.value > before else 2 * self._plan_rounds
        else:
            self._choose()
        self._plans_at = self.pool.rounds + self._plan_rounds

    def _dive(self, dive: Callable[[], list[Column]]) -> None:
        """The plan that a dive comes to, and what annealing makes of it where it is not at work by itself."""
        try:
            chosen = dive()
        except NoPrices:
            return
        self._take(chosen)
        if self._annealing:
            return
        self.search.restart(self._as_routes(chosen))
        met = [
            found
            for cents in self.params.polish_cents
            for found in self.search.run(self.params.steps, cents * TICKS_PER_CENT)
        ]
        self._offer(met)
        self._better(self.search.best_routes, self.search.best_value)

    def _narrow(self) -> None:
        """A bound and cuts from the list; choices among its best where little is left of it, or cuts bring no more."""
        listed = self._listed
        assert listed is not None
        floor = max(self._floor, self._to_beat)
        try:
            bound = listed.round(floor)
        except NoPrices:
            self._give_list_up()
            return
        self._lower(max(floor, bound))
        if floor > self._to_beat:
            self._dive(lambda: self.pool.filled_up(listed.dive()))
        if self.closed or not (listed.stalled or len(listed) <= self.params.few_routes):
            return
        if self._part_size == self.params.few_routes and floor > self._to_beat:
            some = listed.part(self.params.some_routes)
            self._pack(some.columns, self.params.choice_seconds, some.cuts)
        if len(listed):
            self._choose_listed(listed.part(self._part_size), max(floor, self._to_beat))
        else:
            self._listed = None

    def _choose_listed(self, part: Part, floor: int) -> None:
        """The best choice above the floor from a part of the list; next time from twice as many, if that is not all.

        A list from which no choice can be made in time is given up.
        """
        above = floor if part.floor is None else max(floor, part.floor)
        packing = self._pack(part.columns, self.params.pack_seconds, part.cuts, above)
        if packing is not None:
            self._lower(max(above, packing.bound_ticks))
        if packing is None or not packing.complete:
            self._give_list_up()
        elif above == floor:
            self._listed = None
        self._part_size *= 2

    def _give_list_up(self) -> None:
        self._reach.failed(self._reached)
        self._listed = None

    def _lower(self, bound: int) -> None:
        """A bound on plans better than the best known is one on all plans where it is not below that one."""
        bound = max(bound // self._step * self._step, self.value)
        self.bound = bound if self.bound is None else min(self.bound, bound)

    @property
    def _to_beat(self) -> int:
        """Every better plan is worth more than these ticks."""
        return self.value + self._step - 1

    @property
    def closed(self) -> bool:
        """Whether nothing is left between the plan and the bound."""
        return self.bound is not None and self.bound - self.value <= self._negligible

    @property
    def plain_bound(self) -> int:
        """Ticks without bonuses that no plan which keeps every promise can exceed."""
        if self.bound is None:
            return self._simple_bound
        return min(self.bound - self.bonus * int(self.model.must_do.sum()), self._simple_bound)

    @property
    def promises_refuted(self) -> bool:
        """Whether the bound proves that no plan keeps every promise."""
        count = int(self.model.must_do.sum())
        if not count or self.bound is None:
            return False
        outweighs_all = self.bonus < MOST_BONUS // (1 + count)
        return outweighs_all and self.bound < self.bonus * count - self.bonus // 2

    def what_it_is_worth(self, watch: Watch) -> tuple[dict[int, int], int | None]:
        """Prices to place (cents, by job) and the worth of a crew-hour (cents), as far as time goes."""
        best = self.pool.best
        if best is None:
            return {}, None
        placed = {job for route in self.routes for job in route}
        left = [j for j in range(self.model.job_count) if j not in placed and not self.model.must_do[j]]
        gap = best.ticks - self.value
        finder = PriceFinder(self.pool.groups, self.day, self.pool.keeps, best, gap)
        worth = crew_hour_worth_cents(self.pool.groups, self.day, best, self.bonus)
        with self._until(watch):
            return prices_to_place(finder, left, lambda: watch.seconds_left() <= 0), worth

    @property
    def _negligible(self) -> int:
        """Half of what still counts as optimal."""
        return int(max(abs(self.plain_bound), TICKS_PER_CENT) * OPTIMAL_GAP / 2)

    def _over(self) -> bool:
        return self._watch.over(self.turns)

    def _while_annealing(self, work: Callable[[], Result], on_turn: Callable[[], None]) -> Result:
        """Do something while annealing goes on: as long as it takes by the clock, else for one turn's steps.

        By the clock its plans count at once, since the work may take long on a very large day.
        """
        done, met = threading.Event(), []
        clocked = self._watch.seconds_left() < float("inf")

        def anneal() -> None:
            met.extend(self._anneal())
            while clocked and not done.is_set():
                if self._better(self.search.best_routes, self.search.best_value):
                    on_turn()
                met.extend(self._anneal())

        annealing = threading.Thread(target=anneal)
        self._annealing = True
        annealing.start()
        try:
            result = work()
        finally:
            done.set()
            annealing.join()
            self._annealing = False
        self._offer(met)
        self._better(self.search.best_routes, self.search.best_value)
        if self._chosen is not None:
            self.search.restart(self._chosen)
            self._chosen = None
        return result

    def _offer(self, met: Sequence[FoundRoute]) -> None:
        for k, route, ticks in sorted(set(met)):
            self.pool.offers.add(Column(self.pool.group_of[k], route, ticks))

    def _anneal(self) -> list[FoundRoute]:
        """One stretch. Each cooling is twice as long as the last: a small day needs many, a large one a slow one."""
        params = self.params
        at = self._cooled / self._cooling
        cents = params.hot_cents * (params.cold_cents / params.hot_cents) ** at
        self._cooled += 1
        if self._cooled == self._cooling:
            self._cooled, self._cooling = 0, 2 * self._cooling
        return self.search.run(params.steps, cents * TICKS_PER_CENT)

    def _better(self, routes: Routes, value: int) -> bool:
        with self._comparing:
            if value <= self.value:
                return False
            self.routes, self.value = routes, value
            return True

    def _price(self) -> bool:
        """One round of prices; False when no class has a better route."""
        try:
            more = self.pool.round()
        except NoPrices:
            return True
        if self.pool.best is not None:
            self._lower(self.pool.best.ticks)
        return more

    def _settles(self, share: float) -> bool:
        """Whether better routes would change the linear program by no more than a share of what is left to prove."""
        best, prices = self.pool.best, self.pool.prices
        if best is None or prices is None:
            return False
        return best.ticks - prices.total_ticks <= share * (best.ticks - self.value)

    def _choose(self) -> None:
        """The best plan from the best routes known, those of the best plan among them."""
        best = self.pool.best
        assert best is not None
        mine = [
            Column(self.pool.group_of[k], tuple(route), self.search.route_ticks(k, route))
            for k, route in enumerate(self.routes)
            if route
        ]
        others = self.pool.within(best.ticks - self._to_beat, self.params.most_choice)
        self._pack(list(dict.fromkeys([*mine, *others])), self.params.quick_choice_seconds)

    def _pack(
        self, columns: Sequence[Column], seconds: float, cuts: Sequence[tuple[Ints, int]] = (), above: int | None = None
    ) -> Packing | None:
        """Take the best choice among the columns if it is better; None where none was found in time."""
        clocked = self._watch.seconds_left() < float("inf")
        packing = pack(
            columns,
            self.pool.sizes,
            cuts=cuts,
            above=above,
            seconds=min(seconds, self._watch.seconds_left()) if clocked else float("inf"),
            nodes=None if clocked else self.params.pack_nodes,
        )
        if packing is None:
            return None
        self._take([columns[i] for i in packing.chosen])
        return packing

    def _take(self, chosen: Sequence[Column]) -> None:
        """These routes for the plan if they are better; annealing then goes on from them."""
        if self._better(self._as_routes(chosen), sum(column.ticks for column in chosen)):
            self._chosen = self.routes

    def _as_routes(self, chosen: Sequence[Column]) -> Routes:
        routes: Routes = [[] for _ in range(self.model.crew_count)]
        free = [list(pricing.group.crews) for pricing in self.pool.groups]
        for column in chosen:
            routes[free[column.group].pop(0)] = list(column.jobs)
        return routes

    def _lists_enough(self) -> bool:
        """Whether the routes of all better plans can be listed, as far as one knows, or of those above a low floor.

        While cycles keep the bound high a list would be long, so some are broken first.
        """
        best, bound = self.pool.best, self.bound
        assert best is not None
        assert bound is not None
        if self._tightened < self.params.first_breaks and self.pool.cyclic:
            return False
        floor = best.ticks - self._reached
        return floor <= self._to_beat or floor - self.value <= WORTH_LISTING * (bound - self.value)

    @property
    def _reached(self) -> int:
        """Ticks below the bound's prices of the lowest floor that is worth trying."""
        assert self.pool.best is not None
        return self._reach.within(self.pool.best.ticks - self._to_beat)

    def _list(self) -> None:
        """List every route of the plans worth more than that floor, unless there are too many."""
        best, gap, params = self.pool.best, self._reached, self.params
        assert best is not None
        listing = routes_within(
            self.pool.groups, self.day, best, gap, self._reach.labels, params.most_routes, self.pool.threads
        )
        if listing is None:
            self._reach.failed(gap)
            return
        self._reach.made(gap, listing.labels)
        self._listed = ListedRoutes(
            listing.columns, self.pool.sizes, self.model.job_count, self.pool.fixed, self.pool.stop
        )
        self._floor, self._part_size = best.ticks - gap, params.few_routes
        for column in listing.columns:
            self.pool.offers.add(column)
