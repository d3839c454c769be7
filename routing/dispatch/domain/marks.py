"""Arrived, started, finished: in this order, and no time before the one before."""

from collections.abc import Mapping
from datetime import datetime
from fractions import Fraction

from shared.units import round_half_up

ORDER = ("arrived", "started", "finished")
SECONDS_PER_MINUTE = 60


def mark_missing(kind: str, made: Mapping[str, datetime]) -> str | None:
    """The mark that must come before `kind` and was not made yet, or None."""
    before = ORDER[: ORDER.index(kind)]
    return next((name for name in before if name not in made), None)


def mark_next(made: Mapping[str, datetime]) -> str | None:
    """The mark that comes next, or None where the stop is finished."""
    return next((name for name in ORDER if name not in made), None)


def latest_before(kind: str, made: Mapping[str, datetime]) -> datetime | None:
    """The latest of the marks that come before `kind`; it must not be earlier than this."""
    return max((made[name] for name in ORDER[: ORDER.index(kind)] if name in made), default=None)


def minutes_on_site(arrived_at: datetime, finished_at: datetime) -> int:
    """Whole minutes from arriving to finishing, set-up and packing included; at least one."""
    seconds = (finished_at - arrived_at).total_seconds()
    return max(1, round_half_up(Fraction(seconds) / SECONDS_PER_MINUTE))
