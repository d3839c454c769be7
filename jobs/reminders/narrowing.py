"""What the due list is narrowed to, as conditions of its statement.

Price and minutes are the rate card's, whose rule is not in SQL: for each kind and number of storeys neither falls when
the walls grow, so a bound on them is a bound on the area of the walls, which is found by asking the rule.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from jobs.reminders.domain.consent import CHANNELS
from jobs.reminders.domain.due import CHALK
from jobs.reminders.expected import UNKNOWN_MINUTES, Basis, quantity_of
from jobs.reminders.line_sql import AREA, LAST_MINUTES
from jobs.reminders.lines import A_DAY, Condition, Question

NEVER = -1
STOREYS = range(1, 5)  # as many as a property may have
AREAS = range(10_000_001)  # square feet of wall; no house has more


@dataclass(frozen=True, slots=True)
class DueWish:
    """What the list is narrowed to; what is empty or None narrows nothing.

    `silent_days`: no reminder to the customer for so many days, NEVER: none ever. `price_from_cents`: whoever's price
    is known only after a look does not count. `chance_from_percent` is of a yes.
    """

    state: str = ""
    kind: str = ""
    channel: str = ""
    search: str = ""
    silent_days: int | None = None
    price_from_cents: int | None = None
    minutes_up_to: int | None = None
    chance_from_percent: int | None = None

    @property
    def words(self) -> str:
        """What is searched for, as it is compared. Reasons are in the reader's language, so it is not done in SQL."""
        return self.search.strip().lower()


def condition_of(wish: DueWish, asked: Question) -> Condition:
    """All of the wish but its search."""
    return all_of(*_conditions(wish, asked))


def all_of(*conditions: Condition) -> Condition:
    parameters = {name: value for each in conditions for name, value in each.parameters.items()}
    return Condition(" AND ".join(f"({each.sql})" for each in conditions) or "1 = 1", parameters)


IS_READY = Condition("j.state = 'ready'")


def _conditions(wish: DueWish, asked: Question) -> Iterator[Condition]:
    for name in ("state", "kind", "channel"):
        if wanted := getattr(wish, name):
            yield Condition(f"j.{name} = %(wanted_{name})s", {f"wanted_{name}": wanted})
    if wish.silent_days is not None:
        yield _silent(wish.silent_days, asked)
    if wish.price_from_cents is not None:
        yield _price_from(wish.price_from_cents, asked.basis)
    if wish.minutes_up_to is not None:
        yield _minutes_up_to(wish.minutes_up_to, asked.basis)
    if wish.chance_from_percent is not None:
        yield _chance_from(wish.chance_from_percent, asked.basis)


def _silent(days: int, asked: Question) -> Condition:
    if days == NEVER:
        return Condition("j.contact_at IS NULL")
    before = asked.instant(asked.today - timedelta(days=days) + A_DAY)
    return Condition("j.contact_at IS NULL OR j.contact_at < %(silent_before)s", {"silent_before": before})


def _price_from(least: int, basis: Basis) -> Condition:
    """The area from which on the card asks so much."""
    bounds, parameters = _bounds("priced", basis, lambda prices: bisect_left(AREAS, least, key=prices), "price_cents")
    return Condition(f"{_area(basis)} >= {bounds}", parameters)


def _minutes_up_to(most: int, basis: Basis) -> Condition:
    """Those of last time; else the area up to which the card reckons with so much; else those of what nobody knows."""
    bounds, parameters = _bounds("timed", basis, lambda minutes: bisect_right(AREAS, most, key=minutes) - 1, "minutes")
    return Condition(
        f"COALESCE({LAST_MINUTES} <= %(minutes)s, {_area(basis)} <= {bounds}, {UNKNOWN_MINUTES} <= %(minutes)s)",
        {"minutes": most} | parameters,
    )


def _area(basis: Basis) -> str:
    """NULL where what the card asks waits for an area that nobody knows."""
    removal = basis.services.get(CHALK)
    waits = removal is not None and quantity_of(removal, None) is None
    return AREA if waits else f"COALESCE({AREA}, 0)"


def _bounds(
    prefix: str, basis: Basis, bound: Callable[[Callable[[int], int]], int], figure: str
) -> tuple[str, dict[str, Any]]:
    """For each kind and number of storeys the area that `bound` finds in the rule; NULL where there is no figure."""
    cases: list[str] = []
    parameters: dict[str, Any] = {}
    for number, kind in enumerate(basis.services):
        parameters[f"{prefix}_{number}"] = kind
        for storeys in STOREYS:
            of_area = _figure(basis, kind, storeys, figure)
            if of_area(0) is not None:
                cases.append(f"WHEN j.kind = %({prefix}_{number})s AND j.storeys = {storeys} THEN {bound(of_area)}")
    return f"CASE {' '.join(cases)} END" if cases else "NULL", parameters


def _figure(basis: Basis, kind: str, storeys: int, figure: str) -> Callable[[int], Any]:
    """Price or minutes of the card by the area of the walls."""
    return lambda area: getattr(basis.card(kind, storeys, area), figure)


def _chance_from(least_percent: int, basis: Basis) -> Condition:
    admitted = [
        f"{kind}:{channel}"
        for kind in basis.services
        for channel in CHANNELS
        if 100 * (basis.chance(kind, channel) or 0) >= least_percent
    ]
    parameters = {f"likely_{number}": pair for number, pair in enumerate(admitted)}
    names = ", ".join(f"%({name})s" for name in parameters)
    return Condition(f"j.kind || ':' || j.channel IN ({names})", parameters) if names else Condition("1 = 0")
