"""What the minutes of a job line depend on, and what was booked for one."""

from dataclasses import dataclass
from enum import StrEnum

from pricing.catalogue.domain import Access, Soil

HIGHEST_STOREYS = 4
HIGHEST_READING = 5.0


class Season(StrEnum):
    """Quarter of the year in which the work is done, northern names."""

    WINTER = "winter"
    SPRING = "spring"
    SUMMER = "summer"
    AUTUMN = "autumn"


def season_of(month: int) -> Season:
    """December to February is winter. Raises ``ValueError`` for a month that is not 1 to 12."""
    if not 1 <= month <= 12:
        raise ValueError(f"Expected a month of 1 to 12, got {month}.")
    return list(Season)[month % 12 // 3]


@dataclass(frozen=True, slots=True)
class JobFeatures:
    """One service on one property, as far as it is known. What is not known is left at its default.

    ``quantity`` (>= 1) is in the service's unit. ``chalk_reading`` is 0 to 5 of the field scale, None if nobody
    looked. ``material`` is that of most of the walls, "" if it does not matter or is not known. ``crew_code`` is ""
    while it is open who goes; ``season`` None while it is open when.
    """

    service_code: str
    quantity: int
    storeys: int = 1
    access: Access = Access.USUAL
    soil: Soil = Soil.USUAL
    chalk_reading: float | None = None
    material: str = ""
    crew_code: str = ""
    season: Season | None = None

    def __post_init__(self) -> None:
        if self.quantity < 1:
            raise ValueError(f"Expected quantity >= 1, got {self.quantity}.")
        if not 1 <= self.storeys <= HIGHEST_STOREYS:
            raise ValueError(f"Expected storeys of 1 to {HIGHEST_STOREYS}, got {self.storeys}.")
        if self.chalk_reading is not None and not 0 <= self.chalk_reading <= HIGHEST_READING:
            raise ValueError(f"Expected a chalk reading of 0 to 5, got {self.chalk_reading}.")


@dataclass(frozen=True, slots=True)
class Observation:
    """What a line really took: minutes (> 0) on site, converted to a two-person crew.

    ``weight`` is 1 for a line whose own minutes were booked. Lines that share one booking were split by their
    estimates and say the same thing several times, so each of k has the weight 1/k.
    """

    features: JobFeatures
    minutes: float
    weight: float = 1.0

    def __post_init__(self) -> None:
        if not self.minutes > 0:
            raise ValueError(f"Expected minutes > 0, got {self.minutes}.")
        if not 0 < self.weight <= 1:
            raise ValueError(f"Expected a weight above 0 and up to 1, got {self.weight}.")
