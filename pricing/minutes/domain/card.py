"""Minutes by the rate card alone."""

from pricing.catalogue.domain import FactorKind, RateTerms
from pricing.minutes.domain.features import JobFeatures
from shared.units import MINUTES_PER_HOUR, round_half_up


def card_minutes(rate: RateTerms, features: JobFeatures) -> float:
    """Expected minutes on site of a two-person crew: set-up, and the work at the card's rate times its factors.

    The set-up is the same whatever the walls are like; the factors slow the work alone. Not rounded.
    """
    units = rate.units_per_crew_hour if features.storeys == 1 else rate.units_per_crew_hour_high
    work = features.quantity * MINUTES_PER_HOUR / units
    for kind, level in _levels(features):
        work *= rate.factor_percent(kind, level) / 100
    return rate.setup_minutes + work


def _levels(features: JobFeatures) -> list[tuple[FactorKind, str]]:
    """Which row of each of the card's factors applies. A chalk reading counts as its nearest whole step."""
    levels = [
        (FactorKind.STOREYS, str(features.storeys)),
        (FactorKind.ACCESS, str(features.access)),
        (FactorKind.SOIL, str(features.soil)),
        (FactorKind.MATERIAL, features.material),
    ]
    if features.chalk_reading is not None:
        levels.append((FactorKind.CHALK, str(round_half_up(features.chalk_reading))))
    return levels
