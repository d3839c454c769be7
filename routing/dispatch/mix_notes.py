"""Mixes in words: of one job line, and what they come to on one truck."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.mixing.domain.hauling import load_is_too_heavy, package_is_too_large
from jobs.mixing.domain.mixing import Injector
from jobs.mixing.domain.plan import MixPlan
from jobs.mixing.selectors import LineMix
from jobs.mixing.words import parts_words, percent_of, reason_words, strength_words
from routing.dispatch.models import Rig
from shared.units import ML_PER_US_GALLON
from shared.web.words import volume_words

# 0.4 US gallons a minute for 15 minutes: 29 CFR 1910.151(c) with Washington's WAC 296-800-15030.
EYEWASH_LEAST_ML = 6 * ML_PER_US_GALLON


@dataclass(frozen=True, slots=True)
class MixNote:
    """One mix as the sheets print it. Where `is_stopped` nothing is mixed; `warnings` say why, or what to mind."""

    product_id: int
    product: str
    head: str
    how: tuple[str, ...]
    warnings: tuple[str, ...]
    is_stopped: bool
    stock_ml: int
    tank_ml: int
    surface_ml: int
    is_corrosive: bool
    gravity_thousandths: int | None
    basis_points: int
    basis: str


def injector_of(rig: Rig | None) -> Injector | None:
    """The truck's injector, where its draw was measured."""
    if rig is None or rig.drawn_ml is None or rig.out_ml is None:
        return None
    return Injector(rig.drawn_ml, rig.out_ml)


def mix_note(line_mix: LineMix, injector: Injector | None) -> MixNote:
    """The words of one mix."""
    mix, plan, product = line_mix.mix, line_mix.plan, line_mix.mix.product
    wanted = strength_words(plan.target_basis_points, plan.basis)
    return MixNote(
        product_id=product.pk,
        product=product.name,
        head=_("%(product)s, %(strength)s at the surface") % {"product": product.name, "strength": wanted},
        how=() if plan.stop else tuple(_how(line_mix, injector)),
        warnings=tuple(_stops(plan, product.name)) + line_mix.warnings,
        is_stopped=bool(plan.stop),
        stock_ml=plan.stock_ml,
        tank_ml=plan.tank_ml,
        surface_ml=plan.surface_ml,
        is_corrosive=product.is_corrosive,
        gravity_thousandths=line_mix.stock.strength.gravity_thousandths if line_mix.stock else None,
        basis_points=plan.surface_basis_points or mix.target_basis_points,
        basis=str(plan.basis),
    )


def _stops(plan: MixPlan, product: str) -> Iterable[str]:
    if plan.stop:
        yield _("Do not mix: %(why)s") % {"why": reason_words(plan.stop)}
    elif not plan.is_reached:
        words = _(
            "This injector cannot exceed %(most)s with this stock; %(wanted)s was asked for. Let the office decide."
        )
        yield words % {
            "most": strength_words(plan.surface_basis_points, plan.basis),
            "wanted": percent_of(plan.target_basis_points),
        }


def _how(line_mix: LineMix, injector: Injector | None) -> Iterable[str]:
    plan, stock, product = line_mix.plan, line_mix.stock, line_mix.mix.product
    figures = {
        "stock": volume_words(plan.stock_ml),
        "water": volume_words(plan.water_ml),
        "parts": parts_words(plan.water_parts),
        "all": volume_words(plan.surface_ml),
    }
    if plan.way == "injector" and injector is not None:
        yield _("In the jug: %(stock)s stock, %(water)s water (%(parts)s)") % figures
        words = _("The injector draws 1 part to %(ratio)s parts of water; about %(all)s reach the surface")
        yield words % (figures | {"ratio": f"{injector.water_parts:.1f}"})
    elif plan.way == "tank":
        yield _("In the tank, mixed at the yard: %(stock)s stock, %(water)s water = %(all)s (%(parts)s)") % figures
    else:
        yield _("Mixed at the house: %(stock)s stock, %(water)s water = %(all)s (%(parts)s)") % figures
    if stock is not None:
        yield _stock_words(line_mix)
    if product.dwell_minutes:
        yield _("Dwell by the label: %(minutes)s min, never drying") % {"minutes": product.dwell_minutes}
    if product.label_words:
        yield _("Label: %(words)s") % {"words": " ".join(product.label_words.split())}
    if line_mix.mix.note:
        yield line_mix.mix.note


def _stock_words(line_mix: LineMix) -> str:
    stock = line_mix.stock
    assert stock is not None
    source = {
        "strip": _("by the strip"),
        "estimated": _("estimated from age and warmth"),
        "bought": _("as bought"),
    }[stock.source]
    words = _("Stock today: %(strength)s, %(source)s")
    return words % {
        "strength": strength_words(stock.strength.basis_points, stock.strength.basis),
        "source": source,
    }


def truck_totals(notes: Iterable[MixNote], rig: Rig | None, tank_litres: int | None) -> tuple[str, ...]:
    """What the truck takes along for all its stops, and what is wrong with that. Exact sums of the stops' figures."""
    rows = [note for note in notes if not note.is_stopped]
    return (
        *(_product_total(name, rows, rig) for name in dict.fromkeys(note.product for note in rows)),
        *_tank_words(sum(note.tank_ml for note in rows), tank_litres),
        *_hauling_words(rows, rig),
        *_eyewash_words(rows, rig),
    )


def _product_total(name: str, rows: list[MixNote], rig: Rig | None) -> str:
    stock_ml = sum(note.stock_ml for note in rows if note.product == name)
    words = _("%(product)s: %(volume)s stock for the day") % {"product": name, "volume": volume_words(stock_ml)}
    if rig is not None and rig.jug_ml:
        jugs = -(-stock_ml // rig.jug_ml)
        words += _(", jugs of %(size)s: %(jugs)s") % {"jugs": jugs, "size": volume_words(rig.jug_ml)}
    return words


def _tank_words(tank_ml: int, tank_litres: int | None) -> Iterable[str]:
    if not tank_ml:
        return
    if tank_litres is not None and tank_ml > tank_litres * 1000:
        words = _("Tank: %(volume)s mixed, more than its %(size)s. It must be filled again on the way.")
    else:
        words = _("Tank: %(volume)s mixed at the yard, of %(size)s")
    yield words % {
        "volume": volume_words(tank_ml),
        "size": _("no known size") if tank_litres is None else volume_words(tank_litres * 1000),
    }


def _hauling_words(rows: list[MixNote], rig: Rig | None) -> Iterable[str]:
    corrosive = [note for note in rows if note.is_corrosive]
    heaviest = max((note.gravity_thousandths or 1000 for note in corrosive), default=1000)
    if rig is not None and rig.jug_ml and corrosive and package_is_too_large(rig.jug_ml, heaviest):
        yield _(
            "WARNING: jugs of %(size)s are outside the materials-of-trade exception for corrosives "
            "(49 CFR 173.6: 30 L, 30 kg each). Not legal advice."
        ) % {"size": volume_words(rig.jug_ml)}
    if load_is_too_heavy([(note.stock_ml, note.gravity_thousandths) for note in corrosive]):
        yield _(
            "WARNING: more corrosives than one truck may carry under the materials-of-trade exception "
            "(49 CFR 173.6(d): 440 lb, from memory). Not legal advice."
        )


def _eyewash_words(rows: list[MixNote], rig: Rig | None) -> Iterable[str]:
    if not any(note.is_corrosive for note in rows):
        return
    if rig is None or (rig.eyewash_ml or 0) < EYEWASH_LEAST_ML:
        yield _("Eyewash: at least 6 gal of clean water within 10 seconds' reach (15 minutes of flushing)")
