"""A cause as plain values that can be stored, there and back."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from jobs.reminders.domain.due import Cause, ForecastFact, IntervalFact, ReadingFact
from jobs.reminders.domain.own_words import CauseKind

_FACTS: Mapping[CauseKind, type[IntervalFact | ReadingFact | ForecastFact]] = {
    CauseKind.INTERVAL: IntervalFact,
    CauseKind.READING: ReadingFact,
    CauseKind.FORECAST: ForecastFact,
}
_KINDS = {fact: kind for kind, fact in _FACTS.items()}


def kind_of(cause: Cause) -> CauseKind:
    """What makes the thing due."""
    return _KINDS[type(cause.fact)]


def cause_json(cause: Cause) -> dict[str, Any]:
    """`{"kind": "reading", "fact": {...}, "more_walls": 0, "limit": "2.0"}`; days and readings are texts."""
    fact = {name: _plain(value) for name, value in cause.fact._asdict().items()}
    return {"kind": kind_of(cause).value, "fact": fact, "more_walls": cause.more_walls, "limit": str(cause.limit)}


def cause_kept(kept: Mapping[str, Any]) -> Cause:
    """The cause of which `cause_json` made this."""
    fact = {name: _value(name, value) for name, value in kept["fact"].items()}
    return Cause(_FACTS[CauseKind(kept["kind"])](**fact), kept["more_walls"], Decimal(kept["limit"]))


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else str(value) if isinstance(value, Decimal) else value


def _value(name: str, value: Any) -> Any:
    if name.endswith("_on") and value is not None:
        return date.fromisoformat(value)
    return Decimal(value) if name == "reading" else value
