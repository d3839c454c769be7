"""How chalk grows on the demo's walls, and what was read on them. Invented: no published rate for vinyl exists.

A wall chalks in step with the sun it gets and with how dark it is. Each house has its own pace, so that most are
sound, some would be worth a removal, and some had one; a removal starts the wall again at nothing.
"""

import random
from dataclasses import dataclass
from datetime import date

from routing.demo.domain.houses import House, WallSpec, quarter_of

SUN_SHARE = (0.34, 0.70, 1.0, 0.78)  # north, east, south, west
DUE_FROM_READING = 2.0
WORST_OF_A_SOUND_WALL = 1.4
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class ReadingSpec:
    """What a finger test found on one wall."""

    wall: str
    on: date
    half_steps: int
    days_since_rain: int

    @property
    def reading(self) -> float:
        return self.half_steps / 2


@dataclass(frozen=True, slots=True)
class ChalkPace:
    """A house's own pace: the worst level that its hardest-hit wall has on `today` without a removal."""

    worst_today: float
    is_chalky: bool


def pace_make(rng: random.Random, *, is_chalky: bool) -> ChalkPace:
    """Chalky houses stand between 2.6 and 4.4 today, the others at 0.7 to 1.4."""
    if is_chalky:
        return ChalkPace(rng.uniform(2.6, 4.4), True)
    return ChalkPace(WORST_OF_A_SOUND_WALL * (0.5 + 0.5 * rng.betavariate(1.6, 1.6)), False)


def strain(wall: WallSpec) -> float:
    """How hard sun and colour are on a wall, as a share of the hardest case."""
    dark = 1.0 - 0.6 * wall.lightness_percent / 100
    return SUN_SHARE[quarter_of(wall.facing_degrees)] * dark


def level(house: House, pace: ChalkPace, wall: WallSpec, *, on: date, removed_on: date | None, today: date) -> float:
    """The true level of a wall on a day, on the scale 0 to 5; grows in proportion to the time in the sun."""
    hardest = max(strain(each) for each in house.walls)
    per_day = pace.worst_today / max(1, (today - house.siding_since).days)
    since = removed_on if removed_on is not None and removed_on < on else house.siding_since
    return min(5.0, per_day * (on - since).days * strain(wall) / hardest)


def readings_on(
    rng: random.Random, house: House, pace: ChalkPace, *, on: date, removed_on: date | None, today: date
) -> list[ReadingSpec]:
    """A walkthrough: every vinyl or metal wall and element is rubbed; a reading is half a step off now and then."""
    rain = rng.randint(0, 9)
    highest = 10 if pace.is_chalky else 3
    found = []
    for wall in house.walls:
        if wall.material not in ("vinyl", "aluminium"):
            continue
        true = level(house, pace, wall, on=on, removed_on=removed_on, today=today)
        steps = round(2 * true + rng.gauss(0.0, 0.35))
        found.append(ReadingSpec(wall.name, on, min(highest, max(0, steps)), rain))
    return found
