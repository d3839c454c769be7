"""Exact money inside the solver: integers of 1/3000 cent, called ticks.

Cents per km times metres / 1000 and the hourly reserve / 60 both come out whole in ticks
(3000 = lcm(1000, 60)), so that no sum is ever rounded and two orders of adding always agree.
"""

from .problem import Crew

TICKS_PER_CENT = 3000


def to_cents(ticks: int) -> float:
    """Cents as a float, the nearest to the exact value."""
    return ticks / TICKS_PER_CENT


def minute_ticks(crew: Crew, reserve_cents_per_crew_hour: int) -> int:
    """Cost of one paid minute: the larger of the crew's own cost and the owner's reserve."""
    return max(crew.cents_per_minute * 3000, reserve_cents_per_crew_hour * 50)


def metres_ticks(crew: Crew, metres: int) -> int:
    """Cost of driving so many metres."""
    return crew.cents_per_km * metres * 3


def time_ticks(crew: Crew, reserve_cents_per_crew_hour: int, paid_minutes: int) -> int:
    """Cost of the paid minutes, overtime included."""
    ticks = minute_ticks(crew, reserve_cents_per_crew_hour) * paid_minutes
    if crew.overtime:
        over = max(0, paid_minutes - crew.overtime.after_minutes)
        ticks += crew.overtime.extra_cents_per_minute * TICKS_PER_CENT * over
    return ticks
