"""What is due at a property, and since when.

Three things make a property due: the interval of a service; a chalk reading at the owner's limit or above that nobody
acted on; and a forecast that says when a wall will pass that limit. A reading is due a season after it was taken,
because the homeowner was shown it that day and has heard of the removal already; a forecast for the same reason not
before a season after the wall was last read. The limit is the owner's, since no published scale or rate was made for
vinyl siding.
"""

import heapq
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import groupby
from typing import Any, NamedTuple

CHALK = "chalk"
CHALK_DUE_AFTER = timedelta(days=90)


class IntervalFact(NamedTuple):
    """A service that recurs at a property and has no open job there."""

    property_id: int
    service_code: str
    removes_chalk: bool
    interval_months: int
    last_done_on: date | None
    next_due_on: date


class ReadingFact(NamedTuple):
    """The newest reading of a wall, at the limit or above, with no removal of it since and none agreed."""

    property_id: int
    wall_id: int
    wall_name: str
    wall_kind: str
    facing_degrees: int | None
    reading: Decimal
    read_on: date


class ForecastFact(NamedTuple):
    """A wall that passes the limit on `passes_on`, the owner's choice from its interval of 80 percent; with the newest
    reading, which is below the limit. No removal is agreed."""

    property_id: int
    wall_id: int
    wall_name: str
    wall_kind: str
    facing_degrees: int | None
    reading: Decimal
    read_on: date
    passes_on: date
    early_on: date
    late_on: date

    @property
    def due_on(self) -> date:
        return max(self.passes_on, self.read_on + CHALK_DUE_AFTER)


Fact = IntervalFact | ReadingFact | ForecastFact


class Cause(NamedTuple):
    """What a due thing is due for, as it is said in one line: an interval; the wall that was read worst; or the wall
    that passes `limit` first. `more_walls` of the property stand the same way."""

    fact: Fact
    more_walls: int
    limit: Decimal


@dataclass(frozen=True)
class Due:
    """One thing due at one property. `kind` is the code of the service, or `chalk`.

    One of these says why: `interval`; `walls` that were read at `limit` or above, the worst first; `forecasts` of walls
    that pass it, the earliest first.
    """

    property_id: int
    kind: str
    due_on: date
    limit: Decimal
    interval: IntervalFact | None = None
    walls: tuple[ReadingFact, ...] = ()
    forecasts: tuple[ForecastFact, ...] = ()

    @property
    def cause(self) -> Cause:
        """What is said of it."""
        if self.interval is not None:
            return Cause(self.interval, 0, self.limit)
        first, *others = self.walls or self.forecasts
        return Cause(first, len(others), self.limit)

    @property
    def wall_ids(self) -> tuple[int, ...]:
        """The walls that it is about, and so what a yes is for: those that its reason names and counts, which passed
        the limit or pass it within the lead time. In the order of their numbers; none: the whole house."""
        return tuple(sorted(fact.wall_id for fact in self.walls or self.forecasts))

    @property
    def last_read_on(self) -> date | None:
        """The newest reading that a forecast rests on."""
        return max((fact.read_on for fact in self.forecasts), default=None)


def due(
    intervals: Iterable[IntervalFact],
    readings: Iterable[ReadingFact],
    forecasts: Iterable[ForecastFact],
    *,
    today: date,
    lead_days: int,
    limit: Decimal,
) -> list[Due]:
    """Everything that is due by `lead_days` after `today`, the earliest first, then by property and kind.

    Chalk that was read at a property goes before any forecast and before the interval of a removal: what was seen on
    the wall goes before the calendar. Between a forecast and the interval of a removal the earlier one counts.
    """
    latest = today + timedelta(days=lead_days)
    read = {found.property_id: found for found in _by_reading(readings, limit)}
    expected = {
        found.property_id: found
        for found in _by_forecast(forecasts, limit)
        if found.property_id not in read and found.due_on <= latest
    }
    by_interval = [
        Due(fact.property_id, fact.service_code, fact.next_due_on, limit, interval=fact)
        for fact in intervals
        if fact.next_due_on <= latest and not (fact.removes_chalk and _is_overtaken(fact, read, expected, latest))
    ]
    for found in by_interval:
        if found.interval and found.interval.removes_chalk:
            expected.pop(found.property_id, None)
    chalk = [found for found in (*read.values(), *expected.values()) if found.due_on <= latest]
    return sorted([*chalk, *by_interval], key=lambda found: (found.due_on, found.property_id, found.kind))


def due_in_turn(
    intervals: Iterable[IntervalFact],
    readings: Iterable[ReadingFact],
    forecasts: Iterable[ForecastFact],
    *,
    today: date,
    lead_days: int,
    limit: Decimal,
) -> Iterator[Due]:
    """The same for facts that come in the order of their properties, one property after the other: never more than the
    facts of one property are held, however many there are."""
    sources: list[Iterable[Fact]] = [intervals, readings, forecasts]
    facts = heapq.merge(*sources, key=_property_of)
    for _property_id, group in groupby(facts, key=_property_of):
        mine: dict[type, list[Any]] = {IntervalFact: [], ReadingFact: [], ForecastFact: []}
        for fact in group:
            mine[type(fact)].append(fact)
        yield from due(*mine.values(), today=today, lead_days=lead_days, limit=limit)


def _property_of(fact: Fact) -> int:
    return fact.property_id


def _is_overtaken(fact: IntervalFact, read: Mapping[int, Due], expected: Mapping[int, Due], latest: date) -> bool:
    """Whether what is on the walls makes the property due instead of the interval of a removal."""
    if fact.property_id in read:
        return read[fact.property_id].due_on <= latest
    forecast = expected.get(fact.property_id)
    return forecast is not None and forecast.due_on < fact.next_due_on


def _by_reading(readings: Iterable[ReadingFact], limit: Decimal) -> Iterable[Due]:
    """One due thing for each property; its date follows the newest of the readings that count."""
    counting = [fact for fact in readings if fact.reading >= limit]
    worst_first = sorted(counting, key=lambda fact: (fact.property_id, -fact.reading, -fact.read_on.toordinal()))
    for property_id, group in groupby(worst_first, key=lambda fact: fact.property_id):
        walls = tuple(group)
        due_on = max(fact.read_on for fact in walls) + CHALK_DUE_AFTER
        yield Due(property_id, CHALK, due_on, limit, walls=walls)


def _by_forecast(forecasts: Iterable[ForecastFact], limit: Decimal) -> Iterable[Due]:
    """One due thing for each property: its earliest wall dates it."""
    earliest_first = sorted(forecasts, key=lambda fact: (fact.property_id, fact.due_on, fact.wall_id))
    for property_id, group in groupby(earliest_first, key=lambda fact: fact.property_id):
        walls = tuple(group)
        yield Due(property_id, CHALK, walls[0].due_on, limit, forecasts=walls)


def due_key(property_id: int, kind: str, due_on: date) -> str:
    """What names a due thing in forms, in the API and for `once each`."""
    return f"{property_id}:{kind}:{due_on.isoformat()}"


def property_of_key(key: str) -> int:
    """The property that a key is about. Raises ValueError for a text that is no key."""
    number, _, rest = key.partition(":")
    if not rest or not number.isascii() or not number.isdigit() or len(number) > 18:
        raise ValueError(f"{key!r} does not name anything due.")
    return int(number)
