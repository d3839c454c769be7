"""The answer as frozen data: what `day-plan/1` says."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

FORMAT = "day-plan/1"

Status = Literal["optimal", "feasible", "infeasible"]
LeftOutReason = Literal[
    "not_worth_a_slot", "no_crew_with_skill", "window_unreachable", "unreachable", "crew_hours_full"
]
STATUSES: tuple[Status, ...] = ("optimal", "feasible", "infeasible")
LEFT_OUT_REASONS: tuple[LeftOutReason, ...] = (
    "not_worth_a_slot",
    "no_crew_with_skill",
    "window_unreachable",
    "unreachable",
    "crew_hours_full",
)
OPTIMAL_GAP = 1e-6


@dataclass(frozen=True, slots=True)
class Stop:
    job: str
    arrive: int
    start: int
    finish: int


@dataclass(frozen=True, slots=True)
class RoutePlan:
    """One crew's day with its times; `break_start` where a break is due."""

    crew: str
    leave: int
    back: int
    drive_minutes: int
    drive_metres: int
    paid_minutes: int
    value_cents: float
    stops: tuple[Stop, ...]
    break_start: int | None = None

    @property
    def job_ids(self) -> tuple[str, ...]:
        return tuple(stop.job for stop in self.stops)


@dataclass(frozen=True, slots=True)
class LeftOut:
    job: str
    reason: LeftOutReason
    price_to_place_cents: int | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """All routes of the day, what they are worth, and how much better any plan could be.

    `reasons` says in words why promises cannot be kept; it is empty unless `status` is
    "infeasible". Then the routes are the best that was found with some promises broken.
    """

    status: Status
    value_cents: float
    upper_bound_cents: float
    gap: float
    routes: tuple[RoutePlan, ...]
    left_out: tuple[LeftOut, ...]
    crew_hour_worth_cents: int | None = None
    seconds: float = 0.0
    solver: Mapping[str, object] = field(default_factory=dict)
    reasons: tuple[str, ...] = ()


def gap_between(bound_cents: float, value_cents: float) -> float:
    """(bound - value) / max(|bound|, 1), the contract's gap."""
    return (bound_cents - value_cents) / max(abs(bound_cents), 1.0)
