"""How chalk grows on the demo's walls, and what was read on them. Invented: no published rate for vinyl exists.

A wall chalks in step with the sun it gets and with how dark it is. Each house has its own pace, so that most are
sound, some would be worth a removal, and some had one; a removal starts the walls that it was done on again at nothing.
"""

import random
from dataclasses import dataclass
from datetime import date

from routing.demo.domain.houses import House, WallSpec, quarter_of

SUN_SHARE = (0.34, 0.70, 1.0, 0.78)  # north, east, south, west
DUE_FROM_READING = 2.0
DUE, CLEANED = (2.6, 4.4), (1.8, 2.2)  # the worst wall today of a chalky house, and of one that had its removal
SOUND_IN_A_YEAR = (0.04, 0.11)
WORST_OF_A_SOUND_WALL = 1.9
HIGHEST_OF_A_SOUND_WALL = 3  # half steps: it is never read at the limit
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


@dataclass(frozen=True, slots=True)
class Removal:
    """The day on which chalk was taken off, and the walls it was taken off from."""

    on: date
    walls: frozenset[str]


def pace_make(rng: random.Random, house: House, *, is_due: bool, is_cleaned: bool, today: date) -> ChalkPace:
    """Chalky houses stand high whatever their age; sound ones gain a little each year, so that the oldest of them are
    about to pass the limit."""
    if is_due or is_cleaned:
        return ChalkPace(rng.uniform(*(DUE if is_due else CLEANED)), True)
    least, most = SOUND_IN_A_YEAR
    gain = least + (most - least) * rng.betavariate(1.6, 1.6)
    years = (today - house.siding_since).days / DAYS_PER_YEAR
    return ChalkPace(min(WORST_OF_A_SOUND_WALL, gain * years), False)


def strain(wall: WallSpec) -> float:
    """How hard sun and colour are on a wall, as a share of the hardest case."""
    dark = 1.0 - 0.6 * wall.lightness_percent / 100
    return SUN_SHARE[quarter_of(wall.facing_degrees)] * dark


def level(house: House, pace: ChalkPace, wall: WallSpec, *, on: date, removal: Removal | None, today: date) -> float:
    """The true level of a wall on a day, on the scale 0 to 5; grows in proportion to the time in the sun."""
    hardest = max(strain(each) for each in house.walls)
    per_day = pace.worst_today / max(1, (today - house.siding_since).days)
    is_again = removal is not None and removal.on < on and wall.name in removal.walls
    since = removal.on if removal is not None and is_again else house.siding_since
    return min(5.0, per_day * (on - since).days * strain(wall) / hardest)


def readings_on(
    rng: random.Random, house: House, pace: ChalkPace, *, on: date, removal: Removal | None, today: date
) -> list[ReadingSpec]:
    """A walkthrough: every vinyl or metal wall and element is rubbed; a reading is half a step off now and then."""
    rain = rng.randint(0, 9)
    highest = 10 if pace.is_chalky else HIGHEST_OF_A_SOUND_WALL
    found = []
    for wall in house.walls:
        if wall.material not in ("vinyl", "aluminium"):
            continue
        true = level(house, pace, wall, on=on, removal=removal, today=today)
        steps = round(2 * true + rng.gauss(0.0, 0.35))
        found.append(ReadingSpec(wall.name, on, min(highest, max(0, steps)), rain))
    return found
