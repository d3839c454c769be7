"""Small sums for the office and the crew: each takes a few figures and answers in a sentence, with its source."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from django.utils.translation import gettext as _

from jobs.mixing.domain.mixing import powder_grams
from jobs.mixing.domain.reckoning import MixQuestion, mix_reckon
from jobs.mixing.domain.strength import CHLORINE, CannotMix, Strength
from jobs.mixing.mix_words import Pour, limit_words, plan_words, pours_of, unreached_words
from jobs.mixing.selectors import limited, limits_by_surface
from jobs.mixing.words import reason_words, strength_words
from routing.dispatch.domain.nozzles import nozzle_flow, nozzle_number, nozzle_size
from routing.dispatch.domain.safety import (
    heat_index_f,
    ladder_foot_feet,
    ladder_reach_feet,
    lightning_miles,
    line_clearance_inches,
    thunder_over_minute,
)
from routing.dispatch.weather_words import heat_words
from shared.units import ml_from_us_gallons, ounces_from_grams, round_up
from shared.web.words import clock_words


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


@dataclass(frozen=True, slots=True)
class MixSum:
    """A mix in words; only `refused` where it cannot be mixed."""

    refused: str = ""
    now: str = ""
    pours: tuple[Pour, ...] = ()
    how: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def mix_sum(question: MixQuestion, surface: str) -> MixSum:
    """The answer to a question, with the limit of a surface where one is named."""
    try:
        answer = mix_reckon(question)
    except CannotMix as error:
        return MixSum(refused=reason_words(error.reason))
    plan = answer.plan
    wanted = Strength(question.target_basis_points, question.target_basis)
    is_chlorine = surface and question.target_basis in CHLORINE
    found = limited(limits_by_surface(), surface, wanted, answer.now) if is_chlorine else None
    limits = [found] if found is not None else []
    return MixSum(
        now=strength_words(answer.now.basis_points, answer.now.basis),
        pours=tuple(pours_of(plan, None)),
        how=(*plan_words(plan, question.injector), *(limit_words(each) for each in limits if not each.is_above)),
        warnings=(
            *([] if plan.is_reached else [unreached_words(plan)]),
            *(limit_words(each) for each in limits if each.is_above),
        ),
    )


def reckoned(given: Mapping[str, Any], *, minute_now: int) -> tuple[Sum, ...]:
    """Every other sum, the ones whose figures were given with their answers. `minute_now` is the clock's."""
    return (
        _sum(
            given,
            "powder",
            _("A chlorine powder"),
            _powder_figures(),
            _powder,
            _("CDC, chlorine solutions, appendix E"),
        ),
        _sum(given, "nozzle", _("A nozzle"), _nozzle_figures(), _nozzle, _("nozzle makers' formula")),
        _sum(given, "heat", _("Heat"), _heat_figures(), _heat, _("National Weather Service SR 90-23")),
        _sum(
            given,
            "thunder",
            _("Thunder"),
            _thunder_figures(),
            partial(_thunder, minute_now),
            _("OSHA/NOAA fact sheet 3863"),
        ),
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


def _powder_figures() -> tuple[Field, ...]:
    return (
        ("powder", _("Available chlorine of the powder, %"), 1, 100),
        ("target", _("Wanted, %"), 0.01, 50),
        ("gallons", _("Gallons"), 0.01, 10_000),
    )


def _powder(figures: Figures) -> str:
    litres = ml_from_us_gallons(figures["gallons"]) / 1000
    grams = powder_grams(figures["target"], figures["powder"], litres)
    words = _("%(ounces).1f oz (%(grams).0f g) of powder by weight. Powder into water, never water onto powder.")
    return words % {"grams": grams, "ounces": ounces_from_grams(grams)}


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


def _thunder_figures() -> tuple[Field, ...]:
    return (("seconds", _("Seconds from the flash to the thunder"), 0, 120),)


def _thunder(minute_now: int, figures: Figures) -> str:
    words = _(
        "It struck %(miles).1f miles away. Stop now; if that was the last thunder, go on at %(clock)s. "
        "Each new one counts anew."
    )
    clock = clock_words(thunder_over_minute(minute_now))
    return words % {"miles": lightning_miles(figures["seconds"]), "clock": clock}


def _ladder_figures() -> tuple[Field, ...]:
    return (("length", _("Working length, ft"), 4, 60),)


def _ladder(figures: Figures) -> str:
    words = _("Foot %(foot).1f ft out from the wall; it then reaches %(reach).1f ft up.")
    return words % {"foot": ladder_foot_feet(figures["length"]), "reach": ladder_reach_feet(figures["length"])}


def _line_figures() -> tuple[Field, ...]:
    return (("kv", _("Line, kilovolts"), 0, 1_000),)


def _line(figures: Figures) -> str:
    feet, inches = divmod(round_up(line_clearance_inches(figures["kv"])), 12)
    words = _("Keep people, poles, ladders and spray %(feet)d ft %(inches)d in away. Not sure of the line? Call it in.")
    return words % {"feet": feet, "inches": inches}
