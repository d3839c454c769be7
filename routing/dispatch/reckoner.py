"""Small sums for the office and the crew: each takes a few figures and answers in a sentence, with its source."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from jobs.mixing.domain.mixing import Injector, batch_mix, injector_mix
from jobs.mixing.domain.strength import POINTS_PER_PERCENT, Basis, CannotMix, Strength
from jobs.mixing.words import parts_words, percent_of, reason_words
from routing.dispatch.domain.nozzles import nozzle_flow, nozzle_number, nozzle_size
from routing.dispatch.domain.safety import (
    heat_index_f,
    ladder_foot_feet,
    ladder_reach_feet,
    line_clearance_inches,
)
from routing.dispatch.weather_words import heat_words
from shared.units import ml_from_us_gallons
from shared.web.words import volume_words


@dataclass(frozen=True, slots=True)
class Figure:
    """One field of a sum; bounds are those beyond which the sum says nothing."""

    name: str
    label: str
    least: float
    most: float
    value: str


@dataclass(frozen=True, slots=True)
class Sum:
    code: str
    title: str
    figures: tuple[Figure, ...]
    answer: str
    is_refused: bool
    source: str


Figures = Mapping[str, float]


def reckoned(given: Mapping[str, Any]) -> tuple[Sum, ...]:
    """Every sum, the ones whose figures were given with their answers."""
    return (
        _sum(given, "batch", _("A batch"), _batch_figures(), _batch, _("CDC, chlorine solutions, appendix E")),
        _sum(given, "injector", _("An injector"), _injector_figures(), _injector, _("mass balance; measured draw")),
        _sum(given, "nozzle", _("A nozzle"), _nozzle_figures(), _nozzle, _("nozzle makers' formula")),
        _sum(given, "heat", _("Heat"), _heat_figures(), _heat, _("National Weather Service SR 90-23")),
        _sum(given, "ladder", _("A ladder"), _ladder_figures(), _ladder, _("29 CFR 1926.1053(b)(5)(i), from memory")),
        _sum(given, "line", _("A power line"), _line_figures(), _line, _("WAC 296-874-20046, 29 CFR 1910.333(c)(3)")),
    )


Field = tuple[str, str, float, float]


def _sum(
    given: Mapping[str, Any],
    code: str,
    title: str,
    fields: tuple[Field, ...],
    answer: Callable[[Figures], str],
    source: str,
) -> Sum:
    figures = tuple(
        Figure(f"{code}_{name}", label, least, most, str(given.get(f"{code}_{name}", ""))[:12])
        for name, label, least, most in fields
    )
    if not any(figure.value for figure in figures):
        return Sum(code, title, figures, "", is_refused=False, source=source)
    try:
        values = {figure.name.removeprefix(f"{code}_"): _value(figure) for figure in figures}
        return Sum(code, title, figures, answer(values), is_refused=False, source=source)
    except CannotMix as error:
        return Sum(code, title, figures, reason_words(error.reason), is_refused=True, source=source)
    except ValueError as error:
        return Sum(code, title, figures, str(error), is_refused=True, source=source)


def _value(figure: Figure) -> float:
    words = _("%(label)s: a number from %(least)g to %(most)g.") % {
        "label": figure.label,
        "least": figure.least,
        "most": figure.most,
    }
    try:
        value = float(figure.value.replace(",", "."))
    except ValueError as error:
        raise ValueError(words) from error
    if not figure.least <= value <= figure.most:
        raise ValueError(words)
    return value


def _percents() -> tuple[Field, ...]:
    return (
        ("stock", _("Stock, %"), 0.01, 100),
        ("target", _("At the surface, % (same basis)"), 0.01, 100),
        ("gallons", _("Gallons at the surface"), 0.01, 10_000),
    )


def _strengths(figures: Figures) -> tuple[Strength, Strength]:
    stock, target = (round(figures[name] * POINTS_PER_PERCENT) for name in ("stock", "target"))
    return Strength(stock, Basis.TRADE), Strength(target, Basis.TRADE)


def _batch_figures() -> tuple[Field, ...]:
    return _percents()


def _batch(figures: Figures) -> str:
    batch = batch_mix(*_strengths(figures), ml_from_us_gallons(figures["gallons"]))
    words = _("%(stock)s stock and %(water)s water: %(parts)s.")
    return words % {
        "stock": volume_words(batch.stock_ml),
        "water": volume_words(batch.water_ml),
        "parts": parts_words(batch.water_parts),
    }


def _injector_figures() -> tuple[Field, ...]:
    return (
        *_percents(),
        ("drawn", _("Gallons drawn from the jug in a minute"), 0.001, 100),
        ("out", _("Gallons out of the hose in the same minute"), 0.001, 100),
    )


def _injector(figures: Figures) -> str:
    injector = Injector(ml_from_us_gallons(figures["drawn"]), ml_from_us_gallons(figures["out"]))
    mix = injector_mix(*_strengths(figures), injector, ml_from_us_gallons(figures["gallons"]))
    if not mix.is_reached:
        return _("This injector cannot exceed %(most)s with this stock.") % {
            "most": percent_of(mix.strongest_basis_points)
        }
    words = _("In the jug: %(stock)s stock, %(water)s water (%(parts)s). At most it brings %(most)s.")
    return words % {
        "stock": volume_words(mix.stock_ml),
        "water": volume_words(mix.jug_water_ml),
        "parts": parts_words(mix.water_parts),
        "most": percent_of(mix.strongest_basis_points),
    }


def _nozzle_figures() -> tuple[Field, ...]:
    return ("flow", _("Gallons a minute"), 0.1, 100), ("psi", _("Pressure, psi"), 50, 10_000)


def _nozzle(figures: Figures) -> str:
    number, size = nozzle_number(figures["flow"], figures["psi"]), nozzle_size(figures["flow"], figures["psi"])
    words = _("Number %(number).2f: take size %(size).1f, which lets %(flow).2f gallons a minute through.")
    return words % {"number": number, "size": size, "flow": nozzle_flow(size, figures["psi"])}


def _heat_figures() -> tuple[Field, ...]:
    return ("f", _("Temperature, F"), 40, 130), ("humidity", _("Humidity, %"), 0, 100)


def _heat(figures: Figures) -> str:
    return heat_words(heat_index_f(figures["f"], figures["humidity"]))


def _ladder_figures() -> tuple[Field, ...]:
    return (("length", _("Working length, ft"), 4, 60),)


def _ladder(figures: Figures) -> str:
    words = _("Foot %(foot).1f ft out from the wall; it then reaches %(reach).1f ft up.")
    return words % {"foot": ladder_foot_feet(figures["length"]), "reach": ladder_reach_feet(figures["length"])}


def _line_figures() -> tuple[Field, ...]:
    return (("kv", _("Line, kilovolts"), 0, 1_000),)


def _line(figures: Figures) -> str:
    feet, inches = divmod(line_clearance_inches(figures["kv"]), 12)
    words = _(
        "Keep people, poles, ladders and spray %(feet)d ft %(inches).0f in away. Not sure of the line? Call it in."
    )
    return words % {"feet": feet, "inches": inches}
