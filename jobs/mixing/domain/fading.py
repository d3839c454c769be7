"""Hypochlorite loses strength with age and warmth. An estimate; a test strip is better.

Published points (a community's model of bleach breakdown, fitted to rate constants by a third party, no standard): what
was 12.5 trade percent is after one and after three months 11.11 and 9.28 at 70 F, 9.93 and 7.48 at 80 F, 8.36 and 5.72
at 90 F, 6.68 and 4.27 at 100 F. Between those points the reaction is taken as of second order, as a bleach maker's
storage guide has it, so that 1/C grows in a straight line; between temperatures the logarithm of what was lost does.
Other strengths enter the same curve at the age at which it has theirs. Both are our own reading of the points.
"""

import math
from itertools import pairwise

from jobs.mixing.domain.strength import CHLORINE, CannotMix, Strength, strength_amount
from shared.units import round_half_up

START_AMOUNT = 125.0  # grams of available chlorine in a litre of 12.5 trade percent
DAYS = (0, 30, 90)
TRADE_PERCENT_AFTER = {70: (11.11, 9.28), 80: (9.93, 7.48), 90: (8.36, 5.72), 100: (6.68, 4.27)}
COLDEST_F, HOTTEST_F = 32, 110  # outside, the points say nothing
OLDEST_DAYS = 180


def strength_after(strength: Strength, days: int, storage_f: int) -> Strength:
    """What is left of a hypochlorite after `days` at a storage temperature, on the same basis, never less than a basis
    point. Raises CannotMix: other_basis for a product that is no hypochlorite, too_old where the published points give
    no answer (older than 180 days, colder than 32 F or hotter than 110 F); then only a strip tells."""
    if strength.basis not in CHLORINE:
        raise CannotMix("other_basis")
    if not (0 <= days <= OLDEST_DAYS and COLDEST_F <= storage_f <= HOTTEST_F):
        raise CannotMix("too_old")
    curve = _losses_at(storage_f)
    begins = strength_amount(strength)
    age = _age_at_loss(START_AMOUNT / begins - 1, curve)
    left = START_AMOUNT / (1 + _loss_at_age(age + days, curve))
    basis_points = max(1, round_half_up(strength.basis_points * min(1.0, left / begins)))
    return Strength(basis_points, strength.basis, strength.gravity_thousandths)


def _losses_at(storage_f: int) -> tuple[float, ...]:
    """C0 / C - 1 at each of DAYS, for one temperature."""
    published = {f: [START_AMOUNT / (10 * left) - 1 for left in after] for f, after in TRADE_PERCENT_AFTER.items()}
    known = sorted(published)
    low, high = next(((a, b) for a, b in pairwise(known) if storage_f <= b), (known[-2], known[-1]))
    share = (storage_f - low) / (high - low)
    pairs = zip(published[low], published[high], strict=True)
    return 0.0, *(math.exp(math.log(a) * (1 - share) + math.log(b) * share) for a, b in pairs)


def _loss_at_age(age: float, curve: tuple[float, ...]) -> float:
    """Straight lines through the points; the first and the last go on beyond them."""
    part = 0 if age <= DAYS[1] else 1
    slope = (curve[part + 1] - curve[part]) / (DAYS[part + 1] - DAYS[part])
    return curve[part] + slope * (age - DAYS[part])


def _age_at_loss(loss: float, curve: tuple[float, ...]) -> float:
    part = 0 if loss <= curve[1] else 1
    slope = (curve[part + 1] - curve[part]) / (DAYS[part + 1] - DAYS[part])
    return DAYS[part] + (loss - curve[part]) / slope
