"""How the demo's properties are to be worked at, and what that truly costs: for the minutes to be learnt from.

Drawn from the number of the house, not from the story's dice, so that nothing else in the demo hangs on it.
"""

import random
from dataclasses import dataclass

from pricing.catalogue.domain import Access, Soil

ACCESS = {Access.EASY: (15, 95), Access.USUAL: (67, 99), Access.TIGHT: (18, 116)}  # percent of houses, of minutes
SOIL = {Soil.LIGHT: (17, 93), Soil.USUAL: (63, 98), Soil.HEAVY: (20, 113)}


@dataclass(frozen=True, slots=True)
class Conditions:
    """Access and soil of a house; ``true_time_percent`` is the demo's secret, 100 over all houses."""

    access: Access
    soil: Soil

    @property
    def true_time_percent(self) -> float:
        return ACCESS[self.access][1] * SOIL[self.soil][1] / 100


def conditions_of_house(house: int) -> Conditions:
    """The same house always has the same."""
    rng = random.Random(f"conditions {house}")  # noqa: S311
    access = rng.choices(list(ACCESS), [share for share, _time in ACCESS.values()])[0]
    soil = rng.choices(list(SOIL), [share for share, _time in SOIL.values()])[0]
    return Conditions(access, soil)
