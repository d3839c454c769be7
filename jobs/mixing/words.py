"""Strengths, volumes and reasons as people read them."""

from fractions import Fraction

from django.utils.translation import gettext as _

from jobs.mixing.domain.strength import LARGEST_BASIS_POINTS, POINTS_PER_PERCENT, Basis
from shared.units import measured_ounces


def percent_of(basis_points: int) -> str:
    """`1250` -> `12.5 %`, `114` -> `1.14 %`."""
    return f"{basis_points / POINTS_PER_PERCENT:.2f}".rstrip("0").rstrip(".") + " %"


def basis_words(basis: str) -> str:
    """The basis as it stands behind a percentage."""
    return {
        Basis.TRADE: _("trade"),
        Basis.CHLORINE_WEIGHT: _("available chlorine by weight"),
        Basis.HYPOCHLORITE_WEIGHT: _("hypochlorite by weight"),
        Basis.WEIGHT: _("by weight"),
    }[Basis(basis)]


def strength_words(basis_points: int, basis: str) -> str:
    """`12.5 % trade`: a strength never stands without its basis. A product by volume as its label says it: `1 part to 3
    parts of water (25 %)`."""
    if basis == Basis.VOLUME:
        return _by_label(basis_points)
    return f"{percent_of(basis_points)} {basis_words(basis)}"


def _by_label(basis_points: int) -> str:
    water_parts = LARGEST_BASIS_POINTS / basis_points - 1
    if water_parts < 0.005:
        return _("undiluted")
    return _("1 part to %(parts)s parts of water (%(percent)s)") % {
        "parts": _number_words(water_parts),
        "percent": percent_of(basis_points),
    }


def _number_words(parts: float) -> str:
    return f"{parts:.2f}".rstrip("0").rstrip(".") if parts < 10 else f"{parts:.1f}".removesuffix(".0")


def parts_words(water_parts: float) -> str:
    """`11.5` -> `1 part stock to 11.5 parts water`."""
    if water_parts < 0.005:
        return _("stock as it is, no water")
    return _("1 part stock to %(parts)s parts water") % {"parts": _number_words(water_parts)}


QUARTERS = {Fraction(0): "", Fraction(1, 4): "¼", Fraction(1, 2): "½", Fraction(3, 4): "¾"}


def measure_words(volume_ml: int, *, up: bool = False) -> str:
    """A volume as a crew measures it, down to the next mark of its jugs and cups or up: `1 gal 2 qt 12 fl oz`."""
    ounces = measured_ounces(volume_ml, up=up)
    gallons, rest = divmod(ounces, 128)
    quarts, rest = divmod(rest, 32)
    whole, part = divmod(rest, 1)
    words = [
        *([_("%(number)s gal") % {"number": f"{gallons:,}"}] if gallons else []),
        *([_("%(number)s qt") % {"number": quarts}] if quarts else []),
        *([_("%(number)s fl oz") % {"number": f"{whole or ''}{QUARTERS[part]}"}] if rest else []),
    ]
    return " ".join(words) or (_("less than ¼ fl oz") if volume_ml else _("nothing"))


def reason_words(reason: str) -> str:
    """Why something cannot be mixed."""
    return {
        "no_basis": _("A strength without its basis says nothing. Say of what it is a percentage."),
        "out_of_range": _("A strength is more than 0 and at most 100 %."),
        "no_gravity": _("A percentage by weight needs the specific gravity, from the label or the data sheet."),
        "other_basis": _("The target and the stock are measured on bases that cannot be compared."),
        "not_weaker": _("The target is not weaker than the stock. No mix can be stronger than its stock."),
        "no_injector": _("The draw of this truck's injector was not measured."),
        "too_old": _("Too old, too cold or too hot for an estimate. Test it with a strip, or say that it is used up."),
        "no_stock": _("No stock of this product is written down."),
        "above_label": _("The product's label allows no use as strong as this. The label comes first."),
    }[reason]
