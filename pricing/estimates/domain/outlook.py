"""What an option is worth to the company: hours, earned per crew-hour, and the chance to reach the target."""

from collections.abc import Sequence
from dataclasses import dataclass

from pricing.estimates.domain.card import earned_cents_per_crew_hour
from pricing.estimates.domain.money import least_price, price_at
from pricing.estimates.domain.spread import MinutesSpread, spread_together
from shared.units import MINUTES_PER_HOUR, round_half_up


@dataclass(frozen=True, slots=True)
class Outlook:
    """One option at its price before tax. `chance` is that of earning the target, between 0 and 1.

    `q80_minutes` and `q90_minutes` are on site: so many of ten such jobs stay within them.
    """

    minutes: int
    q80_minutes: int
    q90_minutes: int
    drive_minutes: int
    materials_cents: int
    price_cents: int
    target_price_cents: int
    least_price_cents: int
    earned_cents_per_crew_hour: int | None
    chance: float

    @property
    def crew_minutes(self) -> int:
        return self.minutes + self.drive_minutes

    @property
    def reaches_target(self) -> bool:
        return self.price_cents >= self.target_price_cents

    @property
    def is_below_least(self) -> bool:
        return self.price_cents < self.least_price_cents


def outlook_of(
    spreads: Sequence[MinutesSpread],
    minutes: Sequence[int],
    *,
    drive_minutes: int,
    materials_cents: int,
    price_cents: int,
    target_cents: int,
    reserve_cents: int,
) -> Outlook:
    """The outlook of an option with at least one line; `minutes` are the expected ones, as they are stored."""
    whole = spread_together(spreads)
    on_site = sum(minutes)
    crew_minutes = on_site + drive_minutes
    return Outlook(
        minutes=on_site,
        q80_minutes=round_half_up(whole.quantile(0.8)),
        q90_minutes=round_half_up(whole.quantile(0.9)),
        drive_minutes=drive_minutes,
        materials_cents=materials_cents,
        price_cents=price_cents,
        target_price_cents=price_at(target_cents, crew_minutes),
        least_price_cents=least_price(reserve_cents, crew_minutes, materials_cents),
        earned_cents_per_crew_hour=earned_cents_per_crew_hour(
            price_cents=price_cents, on_site_minutes=on_site, drive_minutes=drive_minutes
        ),
        chance=_chance(whole, drive_minutes, price_cents, target_cents),
    )


def _chance(whole: MinutesSpread, drive_minutes: int, price_cents: int, target_cents: int) -> float:
    """The price reaches the target as long as the work and its driving stay within price / target hours."""
    if target_cents == 0:
        return 1.0
    return whole.chance_within(price_cents * MINUTES_PER_HOUR / target_cents - drive_minutes)
