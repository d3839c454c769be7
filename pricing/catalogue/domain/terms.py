"""The terms of a rate card and of an hourly target."""

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
class MaterialTerms:
    """What a service uses up of one material, in millilitres of the stock per 100 of the service's unit."""

    name: str
    volume_ml_per_100_units: int
    cost_cents_per_gallon: int


class SurchargeKind(StrEnum):
    FIXED = "fixed"
    PERCENT = "percent"


class SurchargeWhen(StrEnum):
    """What a surcharge asks of the job: that a number is reached, or that a level is met exactly."""

    ALWAYS = "always"
    STOREYS = "storeys"
    ACCESS = "access"
    SOIL = "soil"
    CHALK = "chalk"
    MATERIAL = "material"
    DRIVING = "driving"


REACHED = frozenset((SurchargeWhen.STOREYS, SurchargeWhen.CHALK, SurchargeWhen.DRIVING))  # the level is the least


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What is known of a job besides its quantity; ``chalk_reading`` is None where nobody looked."""

    storeys: int = 1
    access: Access = Access.USUAL
    soil: Soil = Soil.USUAL
    chalk_reading: float | None = None
    material: str = ""
    drive_minutes: int = 0


@dataclass(frozen=True, slots=True)
class SurchargeTerms:
    """An amount on top of the card's price: cents once a line, or a percentage of that price.

    ``figure`` is cents or whole percent by ``kind``. ``level`` is the least number (storeys, chalk reading, minutes of
    driving) or the level itself (access, soil, material); empty for one that always applies.
    """

    name: str
    kind: SurchargeKind
    figure: int
    when: SurchargeWhen = SurchargeWhen.ALWAYS
    level: str = ""

    def applies(self, job: Circumstances) -> bool:
        """What nobody knows does not count as met."""
        if self.when == SurchargeWhen.ALWAYS:
            return True
        facts: dict[SurchargeWhen, str | float | None] = {
            SurchargeWhen.STOREYS: job.storeys,
            SurchargeWhen.ACCESS: job.access,
            SurchargeWhen.SOIL: job.soil,
            SurchargeWhen.CHALK: job.chalk_reading,
            SurchargeWhen.MATERIAL: job.material,
            SurchargeWhen.DRIVING: job.drive_minutes,
        }
        known = facts[self.when]
        if self.when not in REACHED or known is None:
            return known == self.level
        return float(known) >= float(self.level)


@dataclass(frozen=True, slots=True)
class RateTerms:
    """One service on the rate card in force. Rates of work are for a two-person crew.

    Prices and materials are cents per 100 of the service's unit, so that a price of 22.5 cents a square foot
    is a whole number. ``materials_cents_per_100_units`` is what is used up besides the ``materials`` that are listed.
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
    factors: tuple[MinutesFactor, ...] = ()
    materials: tuple[MaterialTerms, ...] = ()
    surcharges: tuple[SurchargeTerms, ...] = ()

    def factor_percent(self, kind: FactorKind, level: str) -> int:
        """What the card says of a level; 100 where it says nothing."""
        return next((f.percent for f in self.factors if f.kind == kind and f.level == level), 100)


@dataclass(frozen=True, slots=True)
class HourlyTargetTerms:
    """What a crew-hour should earn, and the least that it must bring in, for a two-person crew."""

    target_cents_per_crew_hour: int
    reserve_cents_per_crew_hour: int
