"""What a stored plan earns per paid crew-hour: profit with the crews' own costs, whatever the reserve."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from shared.units import MINUTES_PER_HOUR


@dataclass(frozen=True, slots=True)
class Hourly:
    """Profit of a day and its paid minutes, all crews together."""

    profit_cents: float
    paid_minutes: int

    @property
    def cents_per_crew_hour(self) -> float | None:
        """None for a day on which nobody works."""
        return self.profit_cents * MINUTES_PER_HOUR / self.paid_minutes if self.paid_minutes else None


def hourly_of(problem: Mapping[str, Any], plan: Mapping[str, Any]) -> Hourly:
    """From day-problem/1 and day-plan/1 as they are stored."""
    own = {crew["id"]: crew["cents_per_minute"] for crew in problem["crews"]}
    reserve = problem.get("reserve_cents_per_crew_hour", 0) / MINUTES_PER_HOUR
    paid = {route["crew"]: route["paid_minutes"] for route in plan["routes"]}
    beyond_own = sum(max(0.0, reserve - own[crew]) * minutes for crew, minutes in paid.items())
    return Hourly(plan["value_cents"] + beyond_own, sum(paid.values()))
