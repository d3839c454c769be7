"""The usual cautions of the trade, where they matter. They defer to label, data sheet, code and licensed practice.

Sources, as read or recalled in November 2026; none of this is legal advice:
- foot of the ladder out by a quarter of its working length: 29 CFR 1926.1053(b)(5)(i) (from memory; the test angle of
  75.5 degrees in (a)(1) was seen); rails 3 ft above the landing: (b)(1) (from memory);
- 10 ft from lines up to 50 kV: 29 CFR 1910.333(c)(3) (from memory; Washington's WAC 296-874-20046 says the same);
  near them ladders with rails that do not conduct: WAC 296-876-40035;
- 15 minutes of flushing near corrosives: 29 CFR 1910.151(c) with WAC 296-800-15030;
- acid on hypochlorite gives chlorine gas: California Department of Public Health, 2023;
- wash water in a storm drain is an illicit discharge: guidance of Napa County and of Minnesota's pollution agency;
- paint of houses built before 1978: 40 CFR 745.83;
- label on a second container: 29 CFR 1910.1200(f) (from memory);
- plants, outlets, finger test: common practice, no source.
Thunder and heat: `weather_words`.
"""

from collections.abc import Collection, Iterable, Sequence
from enum import StrEnum

from django.utils.translation import gettext as _

from jobs.customers.models import Material, OldPaint, Wall
from jobs.mixing.choices import ChemistryChoice
from jobs.work.models import Job
from pricing.catalogue.choices import Unit

LEAD_RULES_BEFORE_YEAR = 1978
OFF_THE_GROUND = {"ladder", "roof"}
REACHES_UP = OFF_THE_GROUND | {"pure_water"}
WASHED = {Unit.WALL_SQFT, Unit.FLAT_SQFT}
PAINTED = {Material.PAINTED_WOOD, Material.OTHER}
GIVES_GAS = {ChemistryChoice.HYPOCHLORITE, ChemistryChoice.ACID, ChemistryChoice.AMMONIA}


class Hazard(StrEnum):
    EYES = "eyes"
    PLANTS = "plants"
    DRAIN = "drain"
    GAS = "gas"
    CHALK = "chalk"
    LADDER = "ladder"
    LINES = "lines"


COMMON = (Hazard.EYES, Hazard.PLANTS, Hazard.DRAIN, Hazard.GAS, Hazard.CHALK)  # said once for the day
OF_MIXES = frozenset({Hazard.EYES, Hazard.PLANTS, Hazard.DRAIN, Hazard.GAS})


def first_words() -> str:
    """What stands above every caution."""
    return _(
        "The product label, the safety data sheet, local code and licensed practice come first. "
        "This list is a reminder, not a rule book."
    )


def hazards_of(job: Job, chemistries: Collection[str]) -> frozenset[Hazard]:
    """What can hurt at a job. `chemistries` are those of its mixes; where none is written down, washing is taken to be
    done with hypochlorite."""
    services = [line.service for line in job.lines.all()]
    units = {service.unit for service in services}
    skills = {skill.code for service in services for skill in service.skills.all()}
    found = set()
    if chemistries or units & WASHED:
        found |= {Hazard.EYES, Hazard.PLANTS, Hazard.DRAIN}
    if set(chemistries) & GIVES_GAS or (units & WASHED and not chemistries):
        found.add(Hazard.GAS)
    if Unit.WALL_SQFT in units:
        found.add(Hazard.CHALK)
    if skills & OFF_THE_GROUND or job.property.storeys > 1:
        found.add(Hazard.LADDER)
    if (
        skills & REACHES_UP or job.property.storeys > 1 or Unit.WALL_SQFT in units
    ):  # the house's own line ends at a wall
        found.add(Hazard.LINES)
    return frozenset(found)


def common_cautions(
    stops: Sequence[tuple[int, frozenset[Hazard]]], only: Collection[Hazard] = COMMON
) -> tuple[str, ...]:
    """What matters at several stops, each once, with the numbers of the stops where it is not all of them."""
    words = _common_words()
    rows = []
    for hazard in COMMON:
        numbers = [str(number) for number, hazards in stops if hazard in hazards and hazard in only]
        if numbers and len(numbers) < len(stops):
            rows.append(_("%(words)s (stops %(numbers)s)") % {"words": words[hazard], "numbers": ", ".join(numbers)})
        elif numbers:
            rows.append(words[hazard])
    return tuple(rows)


def stop_cautions(job: Job, hazards: Collection[Hazard]) -> tuple[str, ...]:
    """What matters at this stop alone: its services' own cautions, power lines, ladders, old paint. Each once; what the
    catalogue begins with is translated, what the owner wrote is not."""
    services = [line.service for line in job.lines.all()]
    found = [_(line.strip()) for service in services for line in service.cautions.splitlines() if line.strip()]
    if Hazard.LINES in hazards:
        found.append(_lines())
    if Hazard.LADDER in hazards:
        found.append(_ladder())
    return tuple(dict.fromkeys([*found, *_paint(job)]))


def paint_is_old(wall: Wall, job: Job) -> bool | None:
    """Whether a wall's paint is from before 1978, by what was said of it or by the age of the house; None where a
    painted wall may be either. Siding that is not painted is not: False."""
    if wall.old_paint == OldPaint.YES:
        return True
    if wall.old_paint == OldPaint.NO or wall.material not in PAINTED:
        return False
    year = job.property.year_built
    return None if year is None else year < LEAD_RULES_BEFORE_YEAR


def _paint(job: Job) -> Iterable[str]:
    year = job.property.year_built
    if year is not None and year < LEAD_RULES_BEFORE_YEAR:
        words = _("Built in %(year)s, before 1978: do not disturb paint without lead-safe practice (40 CFR 745).")
        yield words % {"year": year}
    elif any(paint_is_old(wall, job) is None for wall in job.property.walls.all()):
        yield _("Age of the paint unknown: treat it as from before 1978 until somebody knows (40 CFR 745).")


def _common_words() -> dict[Hazard, str]:
    return {
        Hazard.EYES: _(
            "Eyes and skin: goggles and gloves with any cleaner; a splash is flushed with water for 15 minutes."
        ),
        Hazard.PLANTS: _("Plants: water them before, during and after; cover what cannot take a splash."),
        Hazard.DRAIN: _("Storm drain: no wash water and no rinse water into it."),
        Hazard.GAS: _("Never an acid on or near hypochlorite that was not rinsed off: it gives poisonous gas."),
        Hazard.CHALK: _("Chalk: finger test on each wall before any water flows; show it to the homeowner."),
    }


def _lines() -> str:
    return _(
        "Power lines: people, poles, ladders and spray at least 10 ft away, farther from strong ones; "
        "no metal ladder near."
    )


def _ladder() -> str:
    return _(
        "Ladder: foot out by a quarter of its length, on firm ground, tied or held, 3 ft above where you step off."
    )
