"""Why a group of jobs earns less than the target: its shortfall in parts that add up to the cent.

The shortfall of a group is what its hours would have brought in at the target, less what they did bring in:
    S = g T - E,   g the target a minute, T all time, E all money.
Time and money are sums of what the ledger keeps apart,
    T = estimated + (on site - estimated) + driving + free return visits,
    E = card - (card - agreed) + paid for return visits - refunds,
so that
    S = [g estimated - card]                   the card itself: what it asks for the minutes it counts on
      + [card - agreed]                        price against card: discounts, prices below (or above) the card
      + g (on site - estimated)                minutes over the estimate, set-up counted
      + g driving
      + [g return visits - paid for them]      callbacks
      + refunds.
Every minute is worth the target, so each part is the same in whatever order causes are taken away: a sequential
split, the average over all orders (L. S. Shapley, Contributions to the Theory of Games II, Princeton 1953, from
memory) and this one are one and the same, and nothing is left over to be shared out by rule of thumb. A negative
part helps: the first one mostly does, since a card's price has to pay for the driving too.

A line without a card price counts as sold at the card's price, one without an estimate as estimated rightly; the
report says how many there were. Parts are whole cents, rounded by largest remainder.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from math import floor

from shared.units import MINUTES_PER_HOUR, WORKERS_OF_A_USUAL_CREW, round_half_up

WORKER_MINUTES_OF_A_CREW_HOUR = MINUTES_PER_HOUR * WORKERS_OF_A_USUAL_CREW


class Cause(StrEnum):
    """One part of a shortfall."""

    CARD = "card"
    PRICE = "price"
    MINUTES = "minutes"
    DRIVING = "driving"
    CALLBACKS = "callbacks"
    REFUNDS = "refunds"


@dataclass(frozen=True, slots=True)
class SplitSums:
    """Sums of a group's ledger lines: time in worker-minutes, money in cents."""

    estimated_time: int
    on_site_time: int  # set-up counted, free return visits not
    drive_time: int  # those of free return visits not counted
    callback_time: int  # on site, set-up and driving
    card_cents: int
    agreed_cents: int
    callback_cents: int
    refund_cents: int  # positive

    @property
    def time(self) -> int:
        return self.on_site_time + self.drive_time + self.callback_time

    @property
    def earned_cents(self) -> int:
        return self.agreed_cents + self.callback_cents - self.refund_cents


@dataclass(frozen=True, slots=True)
class Shortfall:
    """What is missing to the target in whole cents, and its parts, which add up to it. Negative: a surplus."""

    total_cents: int
    parts: tuple[tuple[Cause, int], ...]

    @property
    def largest(self) -> Cause:
        """The cause of the largest part."""
        return max(self.parts, key=lambda part: part[1])[0]

    def as_json(self) -> dict[str, int]:
        return {"total_cents": self.total_cents, **{f"{cause}_cents": cents for cause, cents in self.parts}}


def shortfall(sums: SplitSums, target_cents_per_crew_hour: int) -> Shortfall:
    """The shortfall of a group over all its hours."""
    parts = _parts(sums, target_cents_per_crew_hour)
    return _rounded(parts, round_half_up(sum(parts.values(), Fraction(0))))


def shortfall_per_crew_hour(sums: SplitSums, target_cents_per_crew_hour: int) -> Shortfall | None:
    """The same for each crew-hour: the target less what a crew-hour earned; None for no time at all."""
    if sums.time <= 0:
        return None
    hours = Fraction(sums.time, WORKER_MINUTES_OF_A_CREW_HOUR)
    parts = {cause: part / hours for cause, part in _parts(sums, target_cents_per_crew_hour).items()}
    return _rounded(parts, target_cents_per_crew_hour - round_half_up(sums.earned_cents / hours))


def _parts(sums: SplitSums, target_cents_per_crew_hour: int) -> dict[Cause, Fraction]:
    target = Fraction(target_cents_per_crew_hour, WORKER_MINUTES_OF_A_CREW_HOUR)
    return {
        Cause.CARD: target * sums.estimated_time - sums.card_cents,
        Cause.PRICE: Fraction(sums.card_cents - sums.agreed_cents),
        Cause.MINUTES: target * (sums.on_site_time - sums.estimated_time),
        Cause.DRIVING: target * sums.drive_time,
        Cause.CALLBACKS: target * sums.callback_time - sums.callback_cents,
        Cause.REFUNDS: Fraction(sums.refund_cents),
    }


def _rounded(parts: dict[Cause, Fraction], total: int) -> Shortfall:
    whole = _apportioned(list(parts.values()), total)
    return Shortfall(total, tuple(zip(parts, whole, strict=True)))


def _apportioned(parts: Sequence[Fraction], total: int) -> list[int]:
    """Round each part up or down so that they add up to ``total``, their sum rounded either way."""
    whole = [floor(part) for part in parts]
    by_remainder = sorted(range(len(parts)), key=lambda i: (whole[i] - parts[i], i))
    for i in by_remainder[: total - sum(whole)]:
        whole[i] += 1
    return whole
