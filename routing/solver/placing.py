"""Trying every way to put a few jobs into the routes, by counted tries instead of the clock.

Jobs go in one after the other, the one with the fewest places first, each at each place of each route. Where a route
that breaks its times never keeps them with one more stop (`detours.leaving_out_is_safe`), every plan of these jobs is
met on the way: if nothing is found, there is none.
"""

from collections.abc import Sequence

from .construct import Routes, RouteValue
from .model import Model

_Way = tuple[int, int, int]
"""(ticks of the route, crew, position)"""


class OutOfTries(Exception):
    """The tries were used up before everything was tried."""


class Tries:
    """How many routes may still be tried."""

    def __init__(self, most: int):
        self._left = most

    def use(self) -> None:
        """Raises OutOfTries."""
        if self._left <= 0:
            raise OutOfTries
        self._left -= 1


def place_all(model: Model, jobs: Sequence[int], tries: Tries) -> Routes | None:
    """Routes of the fixed stops and these jobs alone; None where every way was tried in vain. Raises OutOfTries."""
    placing = _Placing(model, tries)
    routes = [list(prefix) for prefix in model.prefix]
    if not all(placing.holds(k, route) for k, route in enumerate(routes)):
        return None
    return placing.place(routes, sorted(jobs))


class _Placing:
    def __init__(self, model: Model, tries: Tries):
        self._model, self._tries = model, tries
        self._value = RouteValue(model)

    def holds(self, k: int, route: Sequence[int]) -> bool:
        return self._value(k, route) is not None

    def place(self, routes: Routes, waiting: Sequence[int]) -> Routes | None:
        if not waiting:
            return routes
        ways = {job: self._ways(routes, job) for job in waiting}
        job = min(waiting, key=lambda j: len(ways[j]))
        rest = [other for other in waiting if other != job]
        for _, k, at in sorted(ways[job], reverse=True):
            longer = [*routes[k][:at], job, *routes[k][at:]]
            found = self.place([*routes[:k], longer, *routes[k + 1 :]], rest)
            if found is not None:
                return found
        return None

    def _ways(self, routes: Routes, job: int) -> list[_Way]:
        ways = []
        for k, route in enumerate(routes):
            if not self._value.allowed(k, job):
                continue
            for at in range(len(self._model.prefix[k]), len(route) + 1):
                self._tries.use()
                worth = self._value(k, [*route[:at], job, *route[at:]])
                if worth is not None:
                    ways.append((worth, k, at))
        return ways
