"""What is due at a property, and since when.

Two things make a property due: the interval of a service, and a chalk reading that nobody acted on. The limits for
chalk are ours, since no published scale or rate was made for vinyl siding: a reading of 2 (the first that anybody
sees from the street) or more counts, and is due a season after it was taken, because the homeowner was shown it that
day and has heard of the removal already.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import groupby

CHALK = "chalk"
CHALK_DUE_READING = Decimal(2)
CHALK_DUE_AFTER = timedelta(days=90)


@dataclass(frozen=True)
class IntervalFact:
    """A service that recurs at a property and has no open job there."""

    property_id: int
    service_code: str
    removes_chalk: bool
    interval_months: int
    last_done_on: date | None
    next_due_on: date


@dataclass(frozen=True)
class ReadingFact:
    """The newest reading of a wall, 2 or more, with no removal at the property since and none agreed."""

    property_id: int
    wall_id: int
    wall_name: str
    wall_kind: str
    facing_degrees: int | None
    reading: Decimal
    read_on: date


@dataclass(frozen=True)
class Due:
    """One thing due at one property. `kind` is the code of the service, or `chalk`; `walls` has the worst first."""

    property_id: int
    kind: str
    due_on: date
    interval: IntervalFact | None = None
    walls: tuple[ReadingFact, ...] = ()


def due(
    intervals: Iterable[IntervalFact], readings: Iterable[ReadingFact], *, today: date, lead_days: int
) -> list[Due]:
    """Everything that is due by `lead_days` after `today`, the earliest first, then by property and kind.

    Where the chalk that was read makes a property due, the interval of a removal is left out: what was seen on the
    wall goes before the calendar.
    """
    latest = today + timedelta(days=lead_days)
    chalk = [found for found in _chalk(readings) if found.due_on <= latest]
    chalked = {found.property_id for found in chalk}
    by_interval = [
        Due(fact.property_id, fact.service_code, fact.next_due_on, interval=fact)
        for fact in intervals
        if fact.next_due_on <= latest and not (fact.removes_chalk and fact.property_id in chalked)
    ]
    return sorted([*chalk, *by_interval], key=lambda found: (found.due_on, found.property_id, found.kind))


def _chalk(readings: Iterable[ReadingFact]) -> Iterable[Due]:
    """One due thing for each property; its date follows the newest of the readings that count."""
    counting = [fact for fact in readings if fact.reading >= CHALK_DUE_READING]
    worst_first = sorted(counting, key=lambda fact: (fact.property_id, -fact.reading, -fact.read_on.toordinal()))
    for property_id, group in groupby(worst_first, key=lambda fact: fact.property_id):
        walls = tuple(group)
        yield Due(property_id, CHALK, max(fact.read_on for fact in walls) + CHALK_DUE_AFTER, walls=walls)


def due_key(property_id: int, kind: str, due_on: date) -> str:
    """What names a due thing in forms, in the API and for `once each`."""
    return f"{property_id}:{kind}:{due_on.isoformat()}"


def property_of_key(key: str) -> int:
    """The property that a key is about. Raises ValueError for a text that is no key."""
    number, _, rest = key.partition(":")
    if not rest or not number.isascii() or not number.isdigit() or len(number) > 18:
        raise ValueError(f"{key!r} does not name anything due.")
    return int(number)
