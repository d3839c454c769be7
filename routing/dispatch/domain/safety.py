"""Ladders, lines and heat, as published. Label, data sheet, local code and licensed practice come first.

- Ladder: the foot stands out by a quarter of the working length, 29 CFR 1926.1053(b)(5)(i) (from memory); the test
  angle of 75.5 degrees in (a)(1) was seen.
- Lines overhead: 10 ft up to 50 kV, and 0.4 in more for each kilovolt above: Washington's WAC 296-874-20046, which
  mirrors 29 CFR 1910.333(c)(3).
- Heat index: L. P. Rothfusz, National Weather Service technical attachment SR 90-23, with the adjustments for dry and
  for damp air; the simple formula, averaged with the temperature, below 80 F.
- Thunder: work goes on 30 minutes after the last that was heard; sound takes 5 seconds for a mile: OSHA/NOAA fact sheet
  3863, as quoted.
- Bands of the heat index: those of the older heat tool of the Occupational Safety and Health Administration; full sun
  adds up to 15 F.
"""

import math

LADDER_SHARE = 4
LINE_FEET, LINE_KILOVOLTS, LINE_INCHES_PER_KILOVOLT = 10, 50, 0.4
SUN_ADDS_F = 15
THUNDER_WAIT_MINUTES, FLASH_SECONDS_PER_MILE = 30, 5
MODERATE_FROM_F, HIGH_ABOVE_F, VERY_HIGH_ABOVE_F = 91, 103, 115


def ladder_foot_feet(working_length_feet: float) -> float:
    """How far out the foot stands."""
    return working_length_feet / LADDER_SHARE


def ladder_reach_feet(working_length_feet: float) -> float:
    """How high the point of support is then."""
    return math.sqrt(working_length_feet**2 - ladder_foot_feet(working_length_feet) ** 2)


def line_clearance_inches(kilovolts: float) -> float:
    """How far people, poles, ladders and spray stay from an overhead line."""
    return LINE_FEET * 12 + max(0.0, kilovolts - LINE_KILOVOLTS) * LINE_INCHES_PER_KILOVOLT


def heat_index_f(temperature_f: float, humidity_percent: float) -> float:
    """The heat index in the shade, in degrees Fahrenheit."""
    t, r = temperature_f, humidity_percent
    simple = (0.5 * (t + 61 + (t - 68) * 1.2 + r * 0.094) + t) / 2
    if simple < 80:
        return simple
    index = (
        -42.379 + 2.04901523 * t + 10.14333127 * r - 0.22475541 * t * r - 6.83783e-3 * t**2 - 5.481717e-2 * r**2
        + 1.22874e-3 * t**2 * r + 8.5282e-4 * t * r**2 - 1.99e-6 * t**2 * r**2
    )  # fmt: skip
    if r < 13 and 80 <= t <= 112:
        index -= (13 - r) / 4 * math.sqrt((17 - abs(t - 95)) / 17)
    elif r > 85 and 80 <= t <= 87:
        index += (r - 85) / 10 * (87 - t) / 5
    return index


def heat_band(index_f: float) -> str:
    """lower, moderate (from 91), high (above 103) or very_high (above 115)."""
    if index_f > VERY_HIGH_ABOVE_F:
        return "very_high"
    if index_f > HIGH_ABOVE_F:
        return "high"
    return "moderate" if index_f >= MODERATE_FROM_F else "lower"


def thunder_over_minute(last_heard_minute: int) -> int:
    """The minute of the day from which work may go on; each new thunder counts anew."""
    return last_heard_minute + THUNDER_WAIT_MINUTES


def lightning_miles(flash_to_bang_seconds: float) -> float:
    """How far away it struck."""
    return flash_to_bang_seconds / FLASH_SECONDS_PER_MILE
