"""Our field scale of chalk: 0 (none) to 5 (worst) in half steps, after the general scheme of ISO 4628-1:2016, which
grades defects from 0 to 5 and allows half steps. No published scale was made for vinyl siding."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import ROUND_CEILING, Decimal
from statistics import median

LARGEST = Decimal(5)
STEP = Decimal("0.5")
STEPS = tuple(STEP * i for i in range(int(LARGEST / STEP) + 1))
# From this reading on the homeowner is shown the wall before any water flows. Common practice, no source.
SHOW_FROM = Decimal(2)
# ASTM D4214, section 6.2.1 (from abstracts): chalk varies over an area, so an average portion is judged.
LEAST_SPOTS, MOST_SPOTS = 3, 9
LATE_BY = timedelta(days=7)  # how long a phone without a signal may keep what its crew wrote; our choice
CLOCKS_DIFFER_BY = timedelta(minutes=2)  # a phone's clock may run this much ahead; our choice, no source

# Nobody tested a wall for us before; a year of two digits, as a date field lets one type it, is a slip. Our choice.
FIRST_READ_ON = date(1990, 1, 1)


def is_on_scale(reading: Decimal) -> bool:
    """Whether a reading is one of 0, 0.5, ... 5."""
    return reading in STEPS


def must_be_shown(reading: Decimal) -> bool:
    """Whether the homeowner has to see the chalk before the work starts."""
    return reading >= SHOW_FROM


def step_text(reading: Decimal) -> str:
    """A reading as people write it: `3`, `2.5`."""
    return f"{reading.normalize():f}"


def wall_reading(spots: Sequence[Decimal]) -> Decimal:
    """The reading of a wall: the median of its spots (each on the scale, at least one).

    Between two middle spots the median may fall on a quarter; it goes up to the next half step, so that chalk is
    never read away.
    """
    return (median(spots) / STEP).to_integral_value(ROUND_CEILING) * STEP
