"""What driving a job at a new place would bring with it, from days as they are usually driven.

The new stop goes where it adds least to one of the day's routes; its share of that route's driving is then taken as
for every stop (`pricing/earnings/domain/driving.py`), so estimates and earnings count the same driving.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from statistics import median

from pricing.earnings.domain.driving import Matrix, driving_shares
from shared.units import round_half_up

USUAL_STOPS = 3  # of a route, where no day was planned yet; common practice, no source


@dataclass(frozen=True, slots=True)
class DrivenRoute:
    """The places of one route, by their number in a drive table: start, stops in order, end."""

    start: int
    order: tuple[int, ...]
    end: int


@dataclass(frozen=True, slots=True)
class DayShare:
    """Into which route of a day the new stop would go (`order` holds it), and the minutes it adds there."""

    added_minutes: int
    start: int
    order: tuple[int, ...]
    end: int


def best_insertion(minutes: Matrix, routes: Sequence[DrivenRoute], place: int) -> DayShare | None:
    """The cheapest way to add `place` to one of a day's routes, ties to the earlier; None where no road leads there."""
    found: list[DayShare] = []
    for route in routes:
        stops = [route.start, *route.order, route.end]
        for at in range(len(route.order) + 1):
            added = _added(minutes, stops[at], place, stops[at + 1])
            if added is not None:
                order = (*route.order[:at], place, *route.order[at:])
                found.append(DayShare(added, route.start, order, route.end))
    return min(found, key=lambda day: day.added_minutes, default=None)


def _added(minutes: Matrix, before: int, place: int, after: int) -> int | None:
    there, on, direct = minutes[before][place], minutes[place][after], minutes[before][after]
    if there is None or on is None or direct is None:
        return None
    return max(0, there + on - direct)


def share_in(table: Matrix, day: DayShare, place: int) -> int:
    """The new stop's share of its route's driving, in the unit of `table`."""
    return driving_shares(table, day.order, day.start, day.end)[day.order.index(place)]


def usual_share(shares: Sequence[int]) -> int:
    """The median over several days. Raises StatisticsError for none."""
    return round_half_up(Fraction(median(shares)))


def there_and_back_share(there: int, back: int, stops: int = USUAL_STOPS) -> int:
    """Where no day is known: the drive there and back, shared by the stops of a usual route (>= 1)."""
    return round_half_up(Fraction(there + back, stops))
