"""Small repairs of routes in plain Python: keep the rules, drop what loses money, fill the gaps."""

from .construct import Routes, RouteValue, fill
from .model import Model


def mend(model: Model, routes: Routes) -> Routes:
    """Routes that keep their times, without stops that lose money, with what still fits put in."""
    value = RouteValue(model)
    kept = [_holding(model, value, k, list(route)) for k, route in enumerate(routes)]
    kept = [_without_losers(model, value, k, route) for k, route in enumerate(kept)]
    return fill(model, kept)


def _holding(model: Model, value: RouteValue, k: int, route: list[int]) -> list[int]:
    """Take out the last unpromised stops until the times hold; an empty route always does, fixed stops or not."""
    fixed = len(model.prefix[k])
    if tuple(route[:fixed]) != tuple(model.prefix[k]):
        return []
    while route and value(k, route) is None:
        movable = range(fixed, len(route))
        if not movable:
            return []
        route.pop(max(movable, key=lambda at: (not model.must_do[route[at]], at)))
    return route


def _without_losers(model: Model, value: RouteValue, k: int, route: list[int]) -> list[int]:
    while True:
        now = value(k, route) or 0
        options = [
            (worth, route[:at] + route[at + 1 :])
            for at in range(len(model.prefix[k]), len(route))
            if not model.must_do[route[at]] and (worth := value(k, route[:at] + route[at + 1 :])) is not None
        ]
        if not options or max(options)[0] <= now:
            return route
        route = max(options)[1]
