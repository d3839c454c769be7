"""How strong a liquid is, and of what: a percentage without its basis says nothing.

Terms after the Handbook of Chlorination (1972) as a supplier's profile quotes it: trade percent is grams of available
chlorine in a litre divided by 10; percent by weight of available chlorine is trade percent divided by the specific
gravity; percent by weight of sodium hypochlorite is 1.05 times that (molar masses 74.442 and 70.906).
"""

from dataclasses import dataclass
from enum import StrEnum

from shared.units import round_down

HYPOCHLORITE_PER_CHLORINE = 1.05
POINTS_PER_PERCENT = 100  # strengths are whole basis points: hundredths of a percent
LARGEST_BASIS_POINTS = 100 * POINTS_PER_PERCENT


class Basis(StrEnum):
    TRADE = "trade"
    CHLORINE_WEIGHT = "chlorine_weight"
    HYPOCHLORITE_WEIGHT = "hypochlorite_weight"
    WEIGHT = "weight"  # of whatever works in a product that is no hypochlorite
    VOLUME = "volume"  # of the product as it is bought


CHLORINE = frozenset({Basis.TRADE, Basis.CHLORINE_WEIGHT, Basis.HYPOCHLORITE_WEIGHT})
NEEDS_GRAVITY = frozenset({Basis.CHLORINE_WEIGHT, Basis.HYPOCHLORITE_WEIGHT, Basis.WEIGHT})


class CannotMix(ValueError):
    """What was asked for cannot be mixed. `reason` is one of no_basis, out_of_range, no_gravity, other_basis,
    not_weaker, no_injector, too_old."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Strength:
    """1 to 10,000 basis points on a basis. The specific gravity, in thousandths, is the liquid's own.

    Raises CannotMix (no_basis, out_of_range).
    """

    basis_points: int
    basis: Basis
    gravity_thousandths: int | None = None

    def __post_init__(self) -> None:
        if self.basis not in tuple(Basis):
            raise CannotMix("no_basis")
        if not 0 < self.basis_points <= LARGEST_BASIS_POINTS:
            raise CannotMix("out_of_range")

    @property
    def percent(self) -> float:
        return self.basis_points / POINTS_PER_PERCENT


def strength_amount(strength: Strength) -> float:
    """What mass balance is done with: grams in a litre of available chlorine or of active matter, and for a basis by
    volume ten times the percentage. Raises CannotMix("no_gravity") for a basis by weight without a specific gravity."""
    if strength.basis in (Basis.TRADE, Basis.VOLUME):
        return 10 * strength.percent
    if strength.gravity_thousandths is None:
        raise CannotMix("no_gravity")
    grams = 10 * strength.percent * strength.gravity_thousandths / 1000
    return grams / HYPOCHLORITE_PER_CHLORINE if strength.basis == Basis.HYPOCHLORITE_WEIGHT else grams


def amount_wanted(target: Strength, stock: Strength) -> float:
    """The amount in a litre of a dilution of `stock` that has the strength `target`.

    A dilution's specific gravity is taken to fall in proportion from the stock's to that of water. Raises
    CannotMix("other_basis") where the one basis says nothing about the other, "no_gravity" as above.
    """
    _require_comparable(target.basis, stock.basis)
    if target.basis in (Basis.TRADE, Basis.VOLUME):
        return 10 * target.percent
    grams = 10 * target.percent / _per_chlorine(target.basis)
    swelling = _gravity_per_gram(stock)
    if grams * swelling >= 1:
        raise CannotMix("not_weaker")
    return grams / (1 - grams * swelling)


def percent_of_amount(amount: float, basis: Basis, stock: Strength) -> float:
    """The percentage, on `basis`, of a dilution of `stock` with `amount` in a litre. Raises CannotMix as above."""
    _require_comparable(basis, stock.basis)
    if basis in (Basis.TRADE, Basis.VOLUME):
        return amount / 10
    return amount * _per_chlorine(basis) / (10 * (1 + amount * _gravity_per_gram(stock)))


def _per_chlorine(basis: Basis) -> float:
    return HYPOCHLORITE_PER_CHLORINE if basis == Basis.HYPOCHLORITE_WEIGHT else 1.0


def _gravity_per_gram(stock: Strength) -> float:
    """How much a gram in a litre adds to the specific gravity."""
    if stock.gravity_thousandths is None:
        raise CannotMix("no_gravity")
    return (stock.gravity_thousandths / 1000 - 1) / strength_amount(stock)


def bases_compare(one: Basis, other: Basis) -> bool:
    """Whether percentages on the two say something of each other."""
    return one == other or {one, other} <= CHLORINE


def _require_comparable(one: Basis, other: Basis) -> None:
    if not bases_compare(one, other):
        raise CannotMix("other_basis")


def points_by_label(water_parts: float) -> int:
    """A label's parts of water to one part of the product as basis points by volume, never stronger than the label:
    3 -> 2500."""
    return max(1, round_down(LARGEST_BASIS_POINTS / (water_parts + 1)))
