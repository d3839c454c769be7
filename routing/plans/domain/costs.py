"""What a crew's minute costs, and how fast it works, as the day problem wants it.

Minutes on site are agreed for a two-person crew. A crew of three does the same work in two thirds of the time and a
crew of one in double the time: on-site minutes scale with the workers (common practice, no source).
"""

from fractions import Fraction

from shared.units import MINUTES_PER_HOUR, WORKERS_OF_A_USUAL_CREW, round_half_up


def wage_cents_per_minute(wage_cents_per_hour: int, burden_percent: int) -> int:
    """The whole crew's wage with the employer's burden on top, in whole cents a minute."""
    return round_half_up(_burdened(wage_cents_per_hour, burden_percent))


def overtime_extra_cents_per_minute(wage_cents_per_hour: int, burden_percent: int) -> int:
    """Half the regular rate, burden included, on top of the wage.

    The premium of one half is that of 29 CFR 778.110(a), which counts the hours of a week. Counting them by the day,
    from a number of minutes that the company sets per shift, is the company's own term (some states ask for it).
    """
    return round_half_up(_burdened(wage_cents_per_hour, burden_percent) / 2)


def pace_percent(own_percent: int, workers: int) -> int:
    """The crew's pace against a two-person crew's minutes; at least 1."""
    return max(1, round_half_up(Fraction(own_percent * WORKERS_OF_A_USUAL_CREW, workers)))


def reserve_for(reserve_cents_per_crew_hour: int, workers: int) -> Fraction:
    """The least that an hour of a crew of `workers` must bring in, from the reserve of a two-person crew."""
    return Fraction(reserve_cents_per_crew_hour * workers, WORKERS_OF_A_USUAL_CREW)


def minute_cost_with_reserve(cents_per_minute: int, reserve_cents_per_hour: Fraction) -> int:
    """The larger of a crew's cost and its own reserve, in whole cents a minute."""
    return max(cents_per_minute, round_half_up(reserve_cents_per_hour / MINUTES_PER_HOUR))


def _burdened(wage_cents_per_hour: int, burden_percent: int) -> Fraction:
    return Fraction(wage_cents_per_hour * (100 + burden_percent), 100 * MINUTES_PER_HOUR)
