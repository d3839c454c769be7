"""Stock and water: C1 V1 = C2 V2, in a batch or through an injector whose draw was measured.

Parts of water to one part of stock = stock / target - 1 (Centers for Disease Control, chlorine solutions, appendix E).
An injector that draws one part in (ratio + 1) of what leaves the hose, "ratio : 1", gives stock / (ratio + 1) at the
surface, so "10 : 1" is one in eleven (common practice, no source; the arithmetic is that of mass balance).
"""

from dataclasses import dataclass

from jobs.mixing.domain.strength import (
    POINTS_PER_PERCENT,
    CannotMix,
    Strength,
    amount_wanted,
    percent_of_amount,
    strength_amount,
)
from shared.units import round_down, round_half_up


@dataclass(frozen=True, slots=True)
class Injector:
    """Measured with a bucket: what was drawn from the jug while so much left the hose. Raises CannotMix."""

    drawn_ml: int
    out_ml: int

    def __post_init__(self) -> None:
        if not 0 < self.drawn_ml < self.out_ml:
            raise CannotMix("no_injector")

    @property
    def share(self) -> float:
        """Of what leaves the hose, the part that came from the jug."""
        return self.drawn_ml / self.out_ml

    @property
    def water_parts(self) -> float:
        """The ratio as the trade says it: so many parts of water to one from the jug."""
        return (self.out_ml - self.drawn_ml) / self.drawn_ml


@dataclass(frozen=True, slots=True)
class Batch:
    """So much stock and water; together they are what was asked for. Stock is rounded down: never stronger."""

    stock_ml: int
    water_ml: int
    water_parts: float


@dataclass(frozen=True, slots=True)
class JugMix:
    """What goes into the injector's jug. `water_parts` is 0 where the stock goes in as it is.

    Where `is_reached` is False the injector cannot do what was asked; the figures are those of undiluted stock.
    """

    is_reached: bool
    strongest_basis_points: int
    surface_basis_points: int
    stock_ml: int
    jug_water_ml: int
    hose_water_ml: int
    water_parts: float


def water_parts(stock: Strength, target: Strength) -> float:
    """Parts of water to one part of stock. Raises CannotMix("not_weaker") unless the target is weaker than the stock,
    other_basis and no_gravity as in `strength`."""
    have, want = strength_amount(stock), amount_wanted(target, stock)
    if want >= have:
        raise CannotMix("not_weaker")
    return have / want - 1


def batch_mix(stock: Strength, target: Strength, volume_ml: int) -> Batch:
    """A batch of `volume_ml`. Raises CannotMix as above."""
    parts = water_parts(stock, target)
    stock_ml = round_down(volume_ml / (parts + 1))
    return Batch(stock_ml, volume_ml - stock_ml, parts)


def strongest_basis_points(stock: Strength, target: Strength, injector: Injector) -> int:
    """The most that this injector brings to the surface with this stock, on the target's basis."""
    percent = percent_of_amount(strength_amount(stock) * injector.share, target.basis, stock)
    return round_half_up(percent * POINTS_PER_PERCENT)


def injector_mix(stock: Strength, target: Strength, injector: Injector, surface_ml: int) -> JugMix:
    """What the jug must hold so that `surface_ml` leave the hose at the target, never stronger. Raises CannotMix."""
    parts = water_parts(stock, target)
    strongest = strongest_basis_points(stock, target, injector)
    jug_ml = surface_ml * injector.share
    hose_water_ml = round_half_up(surface_ml - jug_ml)
    reached = (parts + 1) * injector.share >= 1 or strongest == target.basis_points
    stock_ml = min(round_down(surface_ml / (parts + 1)), round_half_up(jug_ml))
    jug_water_ml = round_half_up(jug_ml) - stock_ml
    return JugMix(
        is_reached=reached,
        strongest_basis_points=strongest,
        surface_basis_points=target.basis_points if reached else strongest,
        stock_ml=stock_ml,
        jug_water_ml=jug_water_ml,
        hose_water_ml=hose_water_ml,
        water_parts=max(0.0, (parts + 1) * injector.share - 1) if reached else 0.0,
    )


def full_jug(jug_ml: int, water_parts: float) -> Batch:
    """A jug filled with the same mix."""
    stock_ml = round_down(jug_ml / (water_parts + 1))
    return Batch(stock_ml, jug_ml - stock_ml, water_parts)


def powder_grams(target_percent: float, powder_percent: float, volume_litres: float) -> float:
    """Grams of a chlorine powder for a volume: target / powder x 1000 in each litre (Centers for Disease Control,
    chlorine solutions, appendix E). Raises CannotMix("not_weaker") unless the target is weaker than the powder."""
    if target_percent >= powder_percent:
        raise CannotMix("not_weaker")
    return target_percent / powder_percent * 1000 * volume_litres
