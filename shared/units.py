"""Conversions and the one rounding rule. Quantities are integers with the unit in the name.

Factors: 1 mile = 1609.344 m, 1 foot = 0.3048 m, 1 US gallon = 3.785411784 l = 128 fluid ounces, 1 ounce =
28.349523125 g (NIST Special Publication 811, appendix B, exact by definition).
"""

import math
from decimal import Decimal
from fractions import Fraction

METRES_PER_MILE = 1609.344
SQFT_PER_SQUARE_METRE = 1 / 0.3048**2
FEET_PER_METRE = 1 / 0.3048
ML_PER_US_GALLON = 3785.411784
GRAMS_PER_OUNCE = 28.349523125
ML_PER_FLUID_OUNCE = ML_PER_US_GALLON / 128
MINUTES_PER_HOUR = 60
WORKERS_OF_A_USUAL_CREW = 2


def round_half_up(value: float | int | Fraction) -> int:
    """Round to the nearest whole number, halves away from zero (commercial rounding).

    Raises ValueError for NaN and the infinities.
    """
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"Expected a finite number, got {value}.")
    exact = value if isinstance(value, Fraction) else Fraction(value)
    return ratio_half_up(exact.numerator, exact.denominator)


def ratio_half_up(above: int, below: int) -> int:
    """The same of a ratio of whole numbers, `below` > 0, which need not be in lowest terms."""
    magnitude = (2 * abs(above) + below) // (2 * below)
    return -magnitude if above < 0 else magnitude


def round_down(value: float) -> int:
    """The whole part of what is not negative; what floating point left a hair below a whole number is that number."""
    return math.floor(value * (1 + 1e-12) + 1e-9)


def round_up(value: float) -> int:
    """The next whole number; what floating point left a hair above a whole number is that number."""
    return math.ceil(value * (1 - 1e-12) - 1e-9)


def cents_per_minute(cents_per_hour: int) -> int:
    """Whole cents per minute for an hourly amount."""
    return round_half_up(Fraction(cents_per_hour, MINUTES_PER_HOUR))


def minutes_to_hours(minutes: float) -> float:
    return minutes / MINUTES_PER_HOUR


def metres_to_miles(metres: float) -> float:
    return metres / METRES_PER_MILE


def metres_from_miles(miles: float | Decimal) -> int:
    return round_half_up(Fraction(miles) * Fraction(str(METRES_PER_MILE)))


def cents_for_metres(cents_per_km: int, metres: int) -> int:
    """Cost of driving `metres` at a price per kilometre, to the cent."""
    return round_half_up(Fraction(cents_per_km * metres, 1000))


def sqft_from_square_metres(square_metres: float) -> int:
    return round_half_up(square_metres * SQFT_PER_SQUARE_METRE)


def feet_from_metres(metres: float) -> int:
    return round_half_up(metres * FEET_PER_METRE)


def ml_from_us_gallons(gallons: float) -> int:
    return round_half_up(gallons * ML_PER_US_GALLON)


def us_gallons_from_ml(volume_ml: int) -> float:
    return volume_ml / ML_PER_US_GALLON


def ounces_from_grams(grams: float) -> float:
    return grams / GRAMS_PER_OUNCE


def ml_from_fluid_ounces(ounces: Decimal) -> int:
    return round_half_up(Fraction(ounces) * Fraction(str(ML_PER_US_GALLON)) / 128)


def fluid_ounces_from_ml(volume_ml: int) -> Decimal:
    """To a hundredth, which is less than half a millilitre: back again it is the same volume."""
    hundredths = round_half_up(Fraction(volume_ml * 128 * 100) / Fraction(str(ML_PER_US_GALLON)))
    return Decimal(hundredths) / 100


# Below so many fluid ounces, what the marks of cups and jugs tell apart; from a gallon on it is half a cup.
MEASURE_MARKS = ((4, Fraction(1, 4)), (32, Fraction(1, 2)), (128, Fraction(1)), (math.inf, Fraction(4)))
MEASURE_SLACK = Fraction(1, 2000)  # a quart is 946.35 ml, and 946 is still a quart


def measured_ounces(volume_ml: int, *, up: bool) -> Fraction:
    """Fluid ounces as a crew can measure them: up to the next mark for water that thins, down for what is thinned."""
    ounces = Fraction(volume_ml * 128) / Fraction(str(ML_PER_US_GALLON))
    step = next(step for below, step in MEASURE_MARKS if ounces < below)
    slack = min(
        ounces * MEASURE_SLACK, Fraction(256) / Fraction(str(ML_PER_US_GALLON))
    )  # two roundings to a millilitre
    marks = math.ceil((ounces - slack) / step) if up else math.floor((ounces + slack) / step)
    return marks * step


def cents_for_volume(cents_per_gallon: int, volume_ml: int) -> Fraction:
    """What a volume costs at a price for the US gallon; exact, to be rounded once with what else is summed."""
    return Fraction(cents_per_gallon * volume_ml) / Fraction(str(ML_PER_US_GALLON))


def litres_up(volume_ml: int) -> int:
    """Whole litres that hold a volume."""
    return -(-volume_ml // 1000)


def crew_minutes(minutes: int, workers: int) -> Fraction:
    """Minutes of a two-person crew that `workers` spend in `minutes` (three workers: half as many again)."""
    return Fraction(minutes * workers, WORKERS_OF_A_USUAL_CREW)


def share_out(total: int, weights: list[int] | list[float] | list[Fraction]) -> list[int]:
    """Split `total` into whole parts in proportion to `weights` (largest remainder; all zero: evenly).

    The parts add up to `total` exactly. Ties go to the earlier part. Weights must not be negative.
    """
    if not weights:
        return []
    exact = [Fraction(weight) for weight in weights]
    if any(weight < 0 for weight in exact):
        raise ValueError("Expected weights that are not negative.")
    whole = sum(exact)
    if whole == 0:
        exact, whole = [Fraction(1)] * len(exact), Fraction(len(exact))
    quotas = [weight * total / whole for weight in exact]
    parts = [math.floor(quota) for quota in quotas]
    by_remainder = sorted(range(len(parts)), key=lambda i: (parts[i] - quotas[i], i))
    for i in by_remainder[: total - sum(parts)]:
        parts[i] += 1
    return parts
