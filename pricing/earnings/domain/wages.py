"""What a crew's time and its truck cost: weekly pay with overtime, burden, miles.

Wages follow the federal rule of the 40-hour week. State law may ask for more. Not legal advice; rules as read
in November 2026.
"""

from collections.abc import Mapping
from datetime import date
from fractions import Fraction

from shared.units import METRES_PER_MILE, MINUTES_PER_HOUR, round_half_up

OVERTIME_AFTER_MINUTES_A_WEEK = 40 * MINUTES_PER_HOUR  # 29 CFR 778.101

# Standard mileage rate for business, in tenths of a cent a mile from 1 January of the year.
# Source: IRS Notices 2024-08, 2025-05 and 2026-10.
MILEAGE_TENTHS_OF_CENT: Mapping[int, int] = {2024: 670, 2025: 700, 2026: 725}


def week_pay_cents(*, straight_cents: int, worked_minutes: int) -> int:
    """Pay for one worker's week: all straight-time pay plus half the regular rate for each overtime hour.

    ``straight_cents`` is everything earned in the week for the hours worked, hourly wages, pay by the job and
    bonuses alike; over all ``worked_minutes`` (driving and riding included, 29 CFR 785.41) it gives the
    regular rate (29 CFR 778.109 to 778.111). Raises ``ValueError`` for pay without time.
    """
    return round_half_up(_week_pay(Fraction(straight_cents), worked_minutes))


def wage_cents(
    *, worked_minutes: int, cents_per_hour: int, burden_percent: int, minutes_before_in_week: int = 0
) -> int:
    """Cost of ``worked_minutes`` at an hourly wage (a worker's, or a whole crew's): wage, overtime, burden.

    It is what the minutes add to the pay of a week in which ``minutes_before_in_week`` were worked already, so
    minutes past the 40th hour cost half the wage more. ``burden_percent`` is what the firm pays on top of wages
    (payroll taxes, insurance).
    """
    after = minutes_before_in_week + worked_minutes
    added = _hourly_week_pay(cents_per_hour, after) - _hourly_week_pay(cents_per_hour, minutes_before_in_week)
    return round_half_up(added * Fraction(100 + burden_percent, 100))


def mileage_cents(*, drive_metres: int, on: date, rates: Mapping[int, int] = MILEAGE_TENTHS_OF_CENT) -> int:
    """Cost of driving at the mileage rate of the day's year; of the nearest year that ``rates`` know otherwise."""
    year = min(rates, key=lambda known: (abs(known - on.year), -known))
    miles = Fraction(drive_metres) / Fraction(METRES_PER_MILE).limit_denominator(1000)
    return round_half_up(miles * Fraction(rates[year], 10))


def _hourly_week_pay(cents_per_hour: int, worked_minutes: int) -> Fraction:
    return _week_pay(Fraction(cents_per_hour * worked_minutes, MINUTES_PER_HOUR), worked_minutes)


def _week_pay(straight_cents: Fraction, worked_minutes: int) -> Fraction:
    if worked_minutes <= 0:
        if straight_cents:
            raise ValueError("Expected worked minutes for the pay of a week.")
        return Fraction(0)
    overtime_minutes = max(0, worked_minutes - OVERTIME_AFTER_MINUTES_A_WEEK)
    return straight_cents + straight_cents / worked_minutes / 2 * overtime_minutes
