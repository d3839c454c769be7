"""The answer as frozen data: what `day-plan/1` says."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

FORMAT = "day-plan/1"

Status = Literal["optimal", "feasible", "infeasible", "undecided"]
LeftOutReason = Literal[
    "not_worth_a_slot", "no_crew_with_skill", "window_unreachable", "unreachable", "crew_hours_full"
]
STATUSES: tuple[Status, ...] = ("optimal", "feasible", "infeasible", "undecided")
BROKEN_STATUSES: tuple[Status, ...] = ("infeasible", "undecided")
"""Those of plans that do not keep every promise: proved that none does, or not decided in time."""
FILE_STATUSES: tuple[Status, ...] = ("optimal", "feasible", "infeasible")
"""What the format knows. "undecided" is written as "infeasible" with `infeasible_is_proved` false."""
LEFT_OUT_REASONS: tuple[LeftOutReason, ...] = (
    "not_worth_a_slot",
    "no_crew_with_skill",
    "window_unreachable",
    "unreachable",
    "crew_hours_full",
)
OPTIMAL_GAP = 1e-6
RATIO_TOLERANCE_CENTS = 1.0


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
    price_is_exact: bool = False
    """Whether the price places the job and no smaller one does; else no smaller one does."""


@dataclass(frozen=True, slots=True)
class BestRatio:
    """What a plan that was made for the most profit per paid crew-hour comes to, beside the plan of most value.

    Profit is the day's value with the crews' own cost of a minute, without the reserve.
    """

    profit_cents: float
    paid_minutes: int
    upper_bound_cents_per_crew_hour: float | None
    """No plan that keeps the rules earns more per paid crew-hour; None where promises are not kept."""
    passes: int
    most_value_cents: float
    """The value of the plan of most value that was found on the way, and what that one comes to."""
    most_value_profit_cents: float
    most_value_paid_minutes: int

    @property
    def cents_per_crew_hour(self) -> float:
        return per_crew_hour(self.profit_cents, self.paid_minutes)

    @property
    def most_value_cents_per_crew_hour(self) -> float:
        return per_crew_hour(self.most_value_profit_cents, self.most_value_paid_minutes)

    @property
    def proved(self) -> bool:
        """Whether no plan earns more per paid crew-hour, to a cent."""
        bound = self.upper_bound_cents_per_crew_hour
        return bound is not None and bound - self.cents_per_crew_hour <= RATIO_TOLERANCE_CENTS


@dataclass(frozen=True, slots=True)
class Plan:
    """All routes of the day, what they are worth, and how much better any plan could be.

    `reasons` says in words why promises cannot be kept, or that it was not decided in time whether they can; it is
    empty unless `status` is "infeasible" or "undecided". Then the routes are the best that was found with some
    promises broken.
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
    best_ratio: BestRatio | None = None

    @property
    def keeps_promises(self) -> bool:
        return self.status not in BROKEN_STATUSES


def per_crew_hour(cents: float, paid_minutes: int) -> float:
    """Cents per paid hour; 0 for a day on which nobody works."""
    return cents * 60 / paid_minutes if paid_minutes else 0.0


def gap_between(bound_cents: float, value_cents: float) -> float:
    """(bound - value) / max(|bound|, 1), the contract's gap."""
    return (bound_cents - value_cents) / max(abs(bound_cents), 1.0)
