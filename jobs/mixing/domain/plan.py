"""One mix for one job line: what goes where, or why it cannot be."""

from dataclasses import dataclass, replace

from jobs.mixing.domain.mixing import Injector, batch_mix, injector_mix, water_parts
from jobs.mixing.domain.strength import (
    POINTS_PER_PERCENT,
    Basis,
    CannotMix,
    Strength,
    amount_wanted,
    bases_compare,
    percent_of_amount,
)
from shared.units import round_half_up, round_up


@dataclass(frozen=True, slots=True)
class MixWish:
    """What the owner wants at the surface. `way` is injector, tank or at_house."""

    target_basis_points: int
    target_basis: Basis
    way: str
    surface_ml_per_100_units: int


@dataclass(frozen=True, slots=True)
class MixPlan:
    """What one line takes. `stop` is empty, or the reason (see CannotMix) for which nothing is mixed.

    With the injector, `stock_ml` and `water_ml` go into the jug and `hose_water_ml` comes from the house; otherwise
    `stock_ml` and `water_ml` are the batch. `is_reached` is False where the injector cannot bring the target; the
    figures are then those of undiluted stock, which brings `surface_basis_points`. `strongest_basis_points` is the most
    that the injector brings with this stock, 0 for other ways.
    """

    way: str
    target_basis_points: int
    basis: Basis
    surface_ml: int
    stop: str = ""
    is_reached: bool = True
    surface_basis_points: int = 0
    strongest_basis_points: int = 0
    stock_ml: int = 0
    water_ml: int = 0
    hose_water_ml: int = 0
    water_parts: float = 0.0

    @property
    def tank_ml(self) -> int:
        """What of it rides in the truck's tank."""
        return self.surface_ml if self.way == "tank" else 0


def surface_ml(wish: MixWish, quantity: int) -> int:
    """Liquid that reaches the surface, for so many units of the service."""
    return round_half_up(quantity * wish.surface_ml_per_100_units / 100)


def mix_plan(wish: MixWish, stock: Strength | None, injector: Injector | None, quantity: int) -> MixPlan:
    """The plan of one line. `stock` is None where none is at hand, `injector` where none was measured."""
    volume = surface_ml(wish, quantity)

    def stopped(reason: str) -> MixPlan:
        return MixPlan(wish.way, wish.target_basis_points, wish.target_basis, volume, stop=reason)

    if stock is None:
        return stopped("no_stock")
    if wish.way == "injector" and injector is None:
        return stopped("no_injector")
    try:
        return _planned(wish, stock, injector, volume)
    except CannotMix as error:
        return stopped(error.reason)


def _planned(wish: MixWish, stock: Strength, injector: Injector | None, volume: int) -> MixPlan:
    target = Strength(wish.target_basis_points, wish.target_basis)
    asked = MixPlan(wish.way, wish.target_basis_points, wish.target_basis, volume)
    if injector is not None and wish.way == "injector":
        jug = injector_mix(stock, target, injector, volume)
        return replace(
            asked,
            is_reached=jug.is_reached,
            surface_basis_points=jug.surface_basis_points,
            strongest_basis_points=jug.strongest_basis_points,
            stock_ml=jug.stock_ml,
            water_ml=jug.jug_water_ml,
            hose_water_ml=jug.hose_water_ml,
            water_parts=jug.water_parts,
        )
    at_target = replace(asked, surface_basis_points=wish.target_basis_points)
    if _is_neat(target, stock):
        return replace(at_target, stock_ml=volume)
    batch = batch_mix(stock, target, volume)
    return replace(at_target, stock_ml=batch.stock_ml, water_ml=batch.water_ml, water_parts=batch.water_parts)


def _is_neat(target: Strength, stock: Strength) -> bool:
    """A product that its label says is used as it is: nothing to dilute."""
    return target.basis == stock.basis == Basis.VOLUME and target.basis_points == stock.basis_points


def percent_on(target: Strength, basis: Basis, stock: Strength | None) -> float | None:
    """What is wanted at the surface as a percentage on another basis, compared through the stock, or as a thin liquid
    of the gravity of water where the stock says nothing. None for bases that say nothing of each other."""
    if target.basis == basis:
        return target.percent
    if not bases_compare(target.basis, basis):
        return None
    known = stock if stock is not None and stock.gravity_thousandths else Strength(1_000, Basis.TRADE, 1_000)
    return percent_of_amount(amount_wanted(target, known), basis, known)


def points_on(target: Strength, basis: Basis, stock: Strength | None) -> int | None:
    """The same, rounded up to the hundredth of a percent; None also for what no dilution of the stock has."""
    try:
        percent = percent_on(target, basis, stock)
    except CannotMix:
        return None
    return None if percent is None else round_up(percent * POINTS_PER_PERCENT)


def is_above(target: Strength, limit: Strength, stock: Strength | None) -> bool:
    """Whether what is wanted at the surface is stronger than a limit, by however little; what no dilution of the stock
    has is. Bases that say nothing of each other: False."""
    try:
        percent = percent_on(target, limit.basis, stock)
    except CannotMix:
        return True
    return percent is not None and percent > limit.percent


def require_weaker(target: Strength, stock: Strength) -> None:
    """Raises CannotMix unless the target can be mixed from the stock (weaker, or the product as it is bought)."""
    if not _is_neat(target, stock):
        water_parts(stock, target)
