"""Mixes in words: of one job line, and what they come to on one truck."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.mixing.domain.hauling import load_is_too_heavy, package_is_too_large
from jobs.mixing.domain.mixing import Injector
from jobs.mixing.mix_words import Pour, footing_words, limit_words, plan_words, pours_of, unreached_words
from jobs.mixing.selectors import LineMix, StockNow
from jobs.mixing.words import measure_words, reason_words, strength_words
from routing.dispatch.models import Rig
from shared.units import ML_PER_US_GALLON
from shared.web.words import day_words, volume_words

# 0.4 US gallons a minute for 15 minutes: 29 CFR 1910.151(c) with Washington's WAC 296-800-15030.
EYEWASH_LEAST_ML = 6 * ML_PER_US_GALLON


@dataclass(frozen=True, slots=True)
class MixNote:
    """One mix as the sheets print it. Where `is_stopped` nothing is mixed; `warnings` say why, or what to mind.

    `pours` are what this line takes and, through the injector, a full jug of the same. `footings` say for each surface
    on what its limit stands.
    """

    product_id: int
    product: str
    chemistry: str
    head: str
    pours: tuple[Pour, ...]
    how: tuple[str, ...]
    warnings: tuple[str, ...]
    footings: tuple[str, ...]
    is_stopped: bool
    stock_ml: int
    tank_ml: int
    surface_ml: int
    hose_water_ml: int
    is_corrosive: bool
    gravity_thousandths: int | None
    package_ml: int
    basis_points: int
    basis: str


def injector_of(rig: Rig | None) -> Injector | None:
    """The truck's injector, where its draw was measured."""
    if rig is None or rig.drawn_ml is None or rig.out_ml is None:
        return None
    return Injector(rig.drawn_ml, rig.out_ml)


def mix_note(line_mix: LineMix, injector: Injector | None, jug_ml: int | None) -> MixNote:
    """The words of one mix. `jug_ml` is what the truck's jugs hold, where that is known."""
    mix, plan, stock = line_mix.mix, line_mix.plan, line_mix.stock
    wanted = strength_words(plan.target_basis_points, plan.basis)
    return MixNote(
        product_id=mix.product.pk,
        product=mix.product.name,
        chemistry=mix.product.chemistry,
        head=_("%(product)s, %(strength)s at the surface") % {"product": mix.product.name, "strength": wanted},
        pours=() if plan.stop else tuple(pours_of(plan, jug_ml)),
        how=() if plan.stop else tuple(_how(line_mix, injector)),
        warnings=tuple(_warnings(line_mix)),
        footings=tuple(footing_words(limited) for limited in line_mix.limits),
        is_stopped=bool(plan.stop),
        stock_ml=plan.stock_ml,
        tank_ml=plan.tank_ml,
        surface_ml=plan.surface_ml,
        hose_water_ml=plan.hose_water_ml,
        is_corrosive=mix.product.is_corrosive,
        gravity_thousandths=stock.strength.gravity_thousandths if stock else None,
        package_ml=stock.stock.package_ml if stock else 0,
        basis_points=plan.surface_basis_points or mix.target_basis_points,
        basis=str(plan.basis),
    )


def _warnings(line_mix: LineMix) -> Iterable[str]:
    plan, stock = line_mix.plan, line_mix.stock
    if plan.stop:
        yield _("Do not mix: %(why)s") % {"why": reason_words(plan.stop)}
    elif not plan.is_reached:
        yield unreached_words(plan)
    if stock is not None and stock.wants_strip:
        yield _("The strength is estimated from age and warmth. Test the stock with a strip first.")
    yield from (limit_words(limited) for limited in line_mix.limits if limited.is_above)


def _how(line_mix: LineMix, injector: Injector | None) -> Iterable[str]:
    """The label first, then what was reckoned."""
    plan, stock, product = line_mix.plan, line_mix.stock, line_mix.mix.product
    if product.label_words:
        yield _("Label: %(words)s") % {"words": " ".join(product.label_words.split())}
    if product.dwell_minutes:
        yield _("Dwell by the label: %(minutes)s min, never drying") % {"minutes": product.dwell_minutes}
    if product.data_sheet:
        yield _("Data sheet: %(where)s") % {"where": product.data_sheet}
    if line_mix.mix.note:
        yield line_mix.mix.note
    yield from plan_words(plan, injector)
    if stock is not None:
        yield _stock_words(stock)
    yield from (limit_words(limited) for limited in line_mix.limits if not limited.is_above and limited.wanted_points)


def _stock_words(now: StockNow) -> str:
    source = {
        "strip": _("by the strip of %(day)s"),
        "estimated": _("estimated from age and warmth"),
        "bought": _("as bought"),
    }[now.source] % {"day": day_words(now.as_of)}
    return _("Stock today: %(strength)s, %(source)s; the delivery of %(came)s") % {
        "strength": strength_words(now.strength.basis_points, now.strength.basis),
        "source": source,
        "came": day_words(now.stock.received_on),
    }


def truck_totals(notes: Iterable[MixNote], rig: Rig | None, tank_litres: int | None) -> tuple[str, ...]:
    """What the truck takes along for all its stops, and what is wrong with that. Exact sums of the stops' figures."""
    rows = [note for note in notes if not note.is_stopped]
    return (
        *(_product_total(name, rows, rig) for name in dict.fromkeys(note.product for note in rows)),
        *_jug_words(rows),
        *_tank_words(sum(note.tank_ml for note in rows), tank_litres),
        *_surface_words(rows),
        *_hauling_words(rows, rig),
        *_eyewash_words(rows, rig),
    )


def _product_total(name: str, rows: list[MixNote], rig: Rig | None) -> str:
    stock_ml = sum(note.stock_ml for note in rows if note.product == name)
    words = _("%(product)s: %(volume)s stock for the day") % {
        "product": name,
        "volume": measure_words(stock_ml, up=True),
    }
    if rig is not None and rig.jug_ml and any(note.is_corrosive for note in rows if note.product == name):
        jugs = -(-stock_ml // rig.jug_ml)
        words += _(", jugs of %(size)s: %(jugs)s") % {"jugs": jugs, "size": volume_words(rig.jug_ml)}
    return words


def _jug_words(rows: list[MixNote]) -> Iterable[str]:
    """Full jugs for the injector, each kind of mix once."""
    full = dict.fromkeys((note.head, pour) for note in rows for pour in note.pours[1:])
    for head, pour in full:
        words = _("%(where)s of %(mix)s: %(stock)s stock, then %(water)s water")
        yield words % {"where": pour.where, "mix": head, "stock": pour.stock, "water": pour.water}


def _surface_words(rows: list[MixNote]) -> Iterable[str]:
    if rows:
        figures = {name: sum(getattr(note, name) for note in rows) for name in ("surface_ml", "hose_water_ml")}
        words = _("All stops: about %(all)s reach the surfaces, %(hose)s of it from the houses' taps")
        yield words % {
            "all": volume_words(figures["surface_ml"]),
            "hose": volume_words(figures["hose_water_ml"]),
        }


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
    """Of the truck's jugs; where nobody measured those, of the packages in which the stock came."""
    corrosive = [note for note in rows if note.is_corrosive]
    jug_ml = rig.jug_ml if rig is not None else None
    packages = {(jug_ml or note.package_ml, note.gravity_thousandths) for note in corrosive}
    too_large = [package_ml for package_ml, gravity in packages if package_is_too_large(package_ml, gravity)]
    if too_large:
        yield _(
            "WARNING: jugs of %(size)s are outside the materials-of-trade exception for corrosives "
            "(49 CFR 173.6: 30 L, 30 kg each). Not legal advice."
        ) % {"size": volume_words(max(too_large))}
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
