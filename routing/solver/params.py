"""Tuning of the optimiser."""

from dataclasses import dataclass
from typing import Literal

Objective = Literal["value", "ratio"]
OBJECTIVES: tuple[Objective, ...] = ("value", "ratio")


@dataclass(frozen=True, slots=True)
class Params:
    """Tuning. Temperatures in cents; `steps` of annealing make one turn, `cooling_turns` the first cooling.

    `objective`: the most value of the whole day, or the most profit per paid crew-hour (see `ratio`).
    """

    objective: Objective = "value"
    steps: int = 400
    hot_cents: int = 2000
    cold_cents: int = 20
    cooling_turns: int = 10
    annealing_rounds: int = 8
    """Rounds of prices beside which annealing goes on; later it only works on plans that the prices have led to."""
    polish_cents: tuple[int, ...] = (400, 200, 100, 50, 20)
    """Temperatures of that."""
    pack_seconds: float = 10.0
    """For the best choice among all routes within the gap, which is a proof."""
    quick_choice_seconds: float = 0.5
    """For a good choice among the best routes known."""
    plan_rounds: int = 6
    """Rounds between two plans made from the prices; twice as many after each that was no better."""
    most_choice: int = 2_000
    some_routes: int = 800
    choice_seconds: float = 3.0
    """For a good choice among so many of the best routes of a list, which may be worth less than its floor."""
    few_routes: int = 500
    """A list as short as this is left to the choice of whole routes; of a longer one its best, to begin with."""
    pack_nodes: int = 20_000
    first_breaks: int = 4
    """How often cycles are broken before the first list."""
    first_labels: int = 50_000
    most_labels: int = 1_000_000
    """Partial routes of the first attempt at a list, and of any."""
    most_routes: int = 150_000
    exact_share: float = 0.5
    """Share of the time that a proof leaves which goes into solving again with left-out jobs forced in, for their exact
    prices; 0: none.
    """
    price_share: float = 0.06
    """Share of the time limit that is kept for the prices of left-out jobs."""

    def __post_init__(self) -> None:
        if self.objective not in OBJECTIVES:
            raise ValueError(f"Expected objective value or ratio, got {self.objective!r}.")
        if self.steps < 1 or self.cooling_turns < 1:
            raise ValueError("Expected steps >= 1 and cooling_turns >= 1.")
        if not 0 <= self.exact_share <= 1:
            raise ValueError(f"Expected 0 <= exact_share <= 1, got {self.exact_share!r}.")
        if self.plan_rounds < 1:
            raise ValueError(f"Expected plan_rounds >= 1, got {self.plan_rounds}.")
        if not 0 < self.cold_cents <= self.hot_cents:
            raise ValueError("Expected 0 < cold_cents <= hot_cents.")
