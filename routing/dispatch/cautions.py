"""The usual cautions of the trade, where they matter. They defer to label, data sheet, code and licensed practice.

Sources, as read or recalled in November 2026; none of this is legal advice:
- foot of the ladder out by a quarter of its working length: 29 CFR 1926.1053(b)(5)(i) (from memory; the test angle of
  75.5 degrees in (a)(1) was seen); rails 3 ft above the landing: (b)(1) (from memory);
- 10 ft from lines up to 50 kV: 29 CFR 1910.333(c)(3) (from memory; Washington's WAC 296-874-20046 says the same);
- thunder, and 30 minutes after the last: OSHA/NOAA fact sheet 3863;
- heat index bands and what full sun adds: the Occupational Safety and Health Administration's older heat tool;
- 15 minutes of flushing near corrosives: 29 CFR 1910.151(c) with WAC 296-800-15030;
- acid on hypochlorite gives chlorine gas: California Department of Public Health, 2023;
- paint of houses built before 1978: 40 CFR 745.83;
- label on a second container: 29 CFR 1910.1200(f) (from memory);
- plants, outlets, finger test: common practice, no source.
"""

from django.utils.translation import gettext as _

from jobs.work.models import Job

LEAD_RULES_BEFORE_YEAR = 1978
OFF_THE_GROUND = {"ladder", "roof"}


def first_words() -> str:
    """What stands above every caution."""
    return _(
        "The product label, the safety data sheet, local code and licensed practice come first. "
        "This list is a reminder, not a rule book."
    )


def general_cautions() -> tuple[str, ...]:
    """What holds at every stop."""
    return (
        _("Power lines: keep people, poles, ladders and spray at least 10 ft away; farther where the line is strong."),
        _("Thunder: stop when you hear it; go on 30 minutes after the last one."),
        _("Heat: drink often and rest in the shade from a heat index of 91 F on; full sun adds up to 15 F."),
        _("Eyes and skin: goggles and gloves with any cleaner; a splash is flushed with water for 15 minutes."),
        _("Plants: water them before, during and after; cover what cannot take a splash."),
        _("Storm drain: no wash water and no rinse water into it."),
        _("Never an acid on or near hypochlorite that was not rinsed off: it gives poisonous gas."),
        _("Chalk: finger test on each wall before any water flows; show it to the homeowner."),
    )


def stop_cautions(job: Job) -> tuple[str, ...]:
    """What matters at this stop: its services' own cautions, ladders, old paint. Each once."""
    services = [line.service for line in job.lines.all()]
    skills = {skill.code for service in services for skill in service.skills.all()}
    found = [line.strip() for service in services for line in service.cautions.splitlines() if line.strip()]
    if skills & OFF_THE_GROUND or job.property.storeys > 1:
        found.append(_ladder())
    year = job.property.year_built
    if year is not None and year < LEAD_RULES_BEFORE_YEAR:
        words = _("Built in %(year)s, before 1978: do not disturb paint without lead-safe practice (40 CFR 745).")
        found.append(words % {"year": year})
    return tuple(dict.fromkeys(found))


def _ladder() -> str:
    return _(
        "Ladder: foot out by a quarter of its length, on firm ground, tied or held, 3 ft above where you step off."
    )
