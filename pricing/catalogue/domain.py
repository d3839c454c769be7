"""What a rate card and an hourly target say, as plain values for calculation."""

from dataclasses import dataclass
from enum import StrEnum


class Access(StrEnum):
    """How easily the crew, its hoses and its ladders get to the work."""

    EASY = "easy"
    USUAL = "usual"
    TIGHT = "tight"


class Soil(StrEnum):
    """How much dirt and growth there is to take off."""

    LIGHT = "light"
    USUAL = "usual"
    HEAVY = "heavy"


class FactorKind(StrEnum):
    """What slows or speeds the work on a rate card, apart from the one step from one storey to more."""

    STOREYS = "storeys"
    ACCESS = "access"
    SOIL = "soil"
    CHALK = "chalk"
    MATERIAL = "material"


@dataclass(frozen=True, slots=True)
class MinutesFactor:
    """The work takes ``percent`` (> 0) of its usual minutes at this level, such as 125 where access is tight."""

    kind: FactorKind
    level: str
    percent: int


@dataclass(frozen=True, slots=True)
class RateTerms:
    """One service on the rate card in force. Rates of work are for a two-person crew.

    Prices and materials are cents per 100 of the service's unit, so that a price of 22.5 cents a square foot
    is a whole number.
    """

    service_code: str
    service_name: str
    unit: str
    price_cents_per_100_units: int
    minimum_price_cents: int
    materials_cents_per_100_units: int
    setup_minutes: int
    units_per_crew_hour: int  # one storey
    units_per_crew_hour_high: int  # two storeys or more
    mix_ml_per_100_units: int = 0
    factors: tuple[MinutesFactor, ...] = ()

    def factor_percent(self, kind: FactorKind, level: str) -> int:
        """What the card says of a level; 100 where it says nothing."""
        return next((f.percent for f in self.factors if f.kind == kind and f.level == level), 100)


@dataclass(frozen=True, slots=True)
class HourlyTargetTerms:
    """What a crew-hour should earn, and the least that it must bring in, for a two-person crew."""

    target_cents_per_crew_hour: int
    reserve_cents_per_crew_hour: int
