"""Each stop's share of its route's driving, defined once for estimates, earnings and lead advice.

A stop's *saving* is what the route would save if the stop were left out and the crew drove straight from
the place before it to the place after it. The shares are the savings, scaled so that they add up to the
whole driving of the route: every driven minute belongs to exactly one stop.
"""

from collections.abc import Callable, Sequence

from shared.units import share_out

Leg = Callable[[int, int], int | None]
Matrix = Sequence[Sequence[int | None]]


def driving_shares(leg: Leg | Matrix, order: Sequence[int], start: int, end: int) -> list[int]:
    """Share out the driving of one route over its stops, in the unit of ``leg`` (minutes or metres).

    ``leg`` is a table (row = from, column = to) or a function of two places; ``None`` is a leg that nobody
    can drive. ``order`` holds the places of the stops as driven, ``start`` and ``end`` the yard(s). The
    shares are whole, never negative, and add up exactly to the driving of the route. A saving that is
    negative (tables of real roads can break the triangle inequality) counts as nothing; where no stop saves
    anything the driving is split evenly. Rounding is by largest remainder, ties to the earlier stop.
    Raises ``ValueError`` if the route drives a leg that is ``None``.
    """
    if not order:
        return []
    read = _reader(leg)
    route = [start, *order, end]
    total = sum(_driven(read, a, b) for a, b in zip(route, route[1:], strict=False))
    return share_out(total, [_saving(read, *route[i : i + 3]) for i in range(len(order))])


def _reader(leg: Leg | Matrix) -> Leg:
    if callable(leg):
        return leg
    table = leg
    return lambda a, b: table[a][b]


def _driven(read: Leg, a: int, b: int) -> int:
    driven = read(a, b)
    if driven is None:
        raise ValueError(f"The route drives from place {a} to place {b}, which has no road.")
    return driven


def _saving(read: Leg, before: int, stop: int, after: int) -> int:
    """Never below 0; 0 where no road joins the neighbours, since the route could not do without the stop."""
    direct = read(before, after)
    if direct is None:
        return 0
    return max(0, _driven(read, before, stop) + _driven(read, stop, after) - direct)
