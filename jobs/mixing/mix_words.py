"""A mix in words: what goes where, what reaches the surface, and the limits there."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.mixing.choices import Surface, Way
from jobs.mixing.domain.mixing import Injector, full_jug
from jobs.mixing.domain.plan import MixPlan
from jobs.mixing.selectors import Limited
from jobs.mixing.words import measure_words, parts_words, percent_of, strength_words
from shared.web.words import volume_words


@dataclass(frozen=True, slots=True)
class Pour:
    """What goes where, in measures that a crew has: stock first, then water; `water` is empty where none is."""

    where: str
    stock: str
    water: str


def pours_of(plan: MixPlan, jug_ml: int | None) -> Iterable[Pour]:
    """What the mix takes and, through the injector, a full jug of the same, where it is known what the jugs hold."""
    where = {
        Way.INJECTOR: _("In the jug, for this house"),
        Way.TANK: _("In the tank, at the yard"),
        Way.AT_HOUSE: _("Mixed at the house"),
    }[Way(plan.way)]
    yield _pour(where, plan.stock_ml, plan.water_ml)
    if plan.way == Way.INJECTOR and plan.water_ml and jug_ml:
        full = full_jug(jug_ml, plan.water_parts)
        yield _pour(_("A full jug of %(size)s") % {"size": volume_words(jug_ml)}, full.stock_ml, full.water_ml)


def _pour(where: str, stock_ml: int, water_ml: int) -> Pour:
    """Stock down and water up to the next mark: what is measured is never stronger than what was reckoned."""
    return Pour(where, measure_words(stock_ml), measure_words(water_ml, up=True) if water_ml else "")


def plan_words(plan: MixPlan, injector: Injector | None) -> Iterable[str]:
    """Parts, and how much there will be."""
    figures = {"parts": parts_words(plan.water_parts), "all": volume_words(plan.surface_ml)}
    if plan.way == Way.INJECTOR and injector is not None:
        words = _("%(parts)s; the injector draws 1 part to %(ratio)s of water and brings at most %(most)s")
        most = strength_words(plan.strongest_basis_points, plan.basis)
        yield words % (figures | {"ratio": f"{injector.water_parts:.1f}", "most": most})
        words = _("About %(all)s reach the surface, %(hose)s of it from the house's tap")
        yield words % (figures | {"hose": volume_words(plan.hose_water_ml)})
    else:
        yield _("%(parts)s; %(all)s in all") % figures


def unreached_words(plan: MixPlan) -> str:
    """The most that the injector brings, where that is less than what was asked for."""
    words = _("This injector cannot exceed %(most)s with this stock; %(wanted)s was asked for. Let the office decide.")
    return words % {
        "most": strength_words(plan.surface_basis_points, plan.basis),
        "wanted": percent_of(plan.target_basis_points),
    }


def limit_words(limited: Limited) -> str:
    """Whether a limit is kept: with what the mix brings, or with the footing of what it would break."""
    if limited.is_above:
        return _("Stronger than the limit for %(surface)s, %(limit)s: %(footing)s.") % _figures(limited)
    return _("Limit for %(surface)s %(limit)s, this mix %(wanted)s") % _figures(limited)


def footing_words(limited: Limited) -> str:
    """A limit and on what it stands."""
    return _("Limit for %(surface)s %(limit)s: %(footing)s.") % _figures(limited)


def _figures(limited: Limited) -> dict[str, str]:
    name = Surface(limited.surface).label if limited.surface in Surface.values else Surface.WALL.label
    return {
        "surface": str(name),
        "limit": strength_words(limited.limit.basis_points, limited.limit.basis),
        "footing": limited.limit.footing,
        "wanted": "" if limited.wanted_points is None else percent_of(limited.wanted_points),
    }
