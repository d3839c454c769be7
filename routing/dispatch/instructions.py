"""Work instructions: the steps of a job line in the trade's order, with what was found on its walls in place.

The order is common practice, no source: pre-wet, test spot, small sections, dwell without drying, agitate only where
needed, rinse. In which direction a wall is gone over is the company's own setting, since published advice contradicts
itself. Rubbing chalked vinyl leaves glossy spots (a siding maker's care sheet, seen as a reprint). Paint from before
1978: 40 CFR 745.83, whatever is disturbed beyond 20 sq ft outside falls under lead-safe practice; not legal advice.
The label, the data sheet, local code and licensed practice come first.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from jobs.customers.models import Wall
from jobs.mixing.choices import ChemistryChoice, Direction
from jobs.mixing.selectors import LineMix
from jobs.walkthroughs.domain import step_text
from jobs.walkthroughs.models import ChalkReading, Finding, FindingKind
from jobs.work.domain.reactions import reacts_with
from jobs.work.models import Job, JobLine
from pricing.catalogue.choices import Unit
from routing.dispatch.cautions import paint_is_old

FIRST_DROPS = ("test", "apply", "work")


@dataclass(frozen=True, slots=True)
class Step:
    """One step; `notes` are what was found on the walls and matters here."""

    code: str
    words: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Found:
    """What is known of a job's walls: chalk that is still there, and what else was found."""

    chalk: dict[int, ChalkReading]
    findings: Sequence[Finding]


def walls_of(line: JobLine, job: Job) -> list[Wall]:
    """The walls of a line: those that it names, all of the house for work on walls that names none."""
    named = list(line.walls.all())
    if named or line.service.unit != Unit.WALL_SQFT:
        return named
    return list(job.property.walls.all())


def line_steps(
    line: JobLine, job: Job, mixes: Sequence[LineMix], found: Found, direction: str, poured_before: Collection[str] = ()
) -> tuple[Step, ...]:
    """The steps of one line. `poured_before` are the chemistries of the job's lines before it."""
    skills = {skill.code for skill in line.service.skills.all()}
    if line.service.removes_chalk:
        steps = _chalk_removal(mixes)
    elif line.service.unit == Unit.WALL_SQFT:
        steps = _wash(mixes, direction)
    elif "roof" in skills:
        steps = _roof()
    elif line.service.unit == Unit.FLAT_SQFT:
        steps = _flat()
    elif line.service.unit == Unit.LINEAR_FT:
        steps = _gutters()
    else:
        steps = _other()
    ordered = tuple(_with_stops(steps, [mix.mix.product.chemistry for mix in mixes], poured_before))
    notes = _placed(_notes(line, job, found), [code for code, _words in ordered])
    return tuple(Step(code, words, tuple(notes.get(code, ()))) for code, words in ordered)


Steps = Iterable[tuple[str, str]]


def _dwell(mixes: Sequence[LineMix]) -> str:
    minutes = next((mix.mix.product.dwell_minutes for mix in mixes if mix.mix.product.dwell_minutes), None)
    if minutes is None:
        return _("Dwell as the label says; never let it dry")
    return _("Dwell %(minutes)s min by the label; never let it dry") % {"minutes": minutes}


def _wash(mixes: Sequence[LineMix], direction: str) -> Steps:
    words = _("from the top down") if direction == Direction.TOP_DOWN else _("from the bottom up")
    return (
        ("cover", _("Cover outlets, shut windows, wet the plants")),
        ("prewet", _("Wet the wall with plain water, %(direction)s") % {"direction": words}),
        ("test", _("Test spot: a small place out of sight; wait for the whole dwell, rinse, look")),
        ("apply", _("Apply low pressure in small sections, %(direction)s") % {"direction": words}),
        ("dwell", _dwell(mixes)),
        ("agitate", _("Brush softly only where growth stays")),
        ("rinse", _("Rinse well, straight on, never upward; write the rinse down")),
        ("plants", _("Water the plants again; look at every wall with the customer")),
    )


def _chalk_removal(mixes: Sequence[LineMix]) -> Steps:
    return (
        ("cover", _("Cover outlets, shut windows, wet the plants")),
        ("prewet", _("Wet the wall with plain water")),
        ("test", _("Test spot: a small place out of sight; wait for the whole dwell, rinse, let it dry, look")),
        ("apply", _("Apply in sections that one person can wipe before they dry")),
        ("dwell", _dwell(mixes)),
        ("agitate", _("Wipe; brush on a pole only where it is bad; hard rubbing leaves glossy spots")),
        ("rinse", _("Rinse well before it dries; write the rinse down")),
        ("look", _("Finger test again when dry; write the reading down")),
    )


def _roof() -> Steps:
    return (
        ("ladder", _("Ladder tied and footed; stay off the wet roof")),
        ("cover", _("Wet the plants, close or bag the downspouts")),
        ("test", _("Test spot on one course; wait, look")),
        ("apply", _("Apply without pressure, from the ridge down, no run-off into the garden")),
        ("dwell", _("Dwell as the label says")),
        ("rinse", _("Rinse as the label says, gutters and downspouts too; write the rinse down")),
        ("plants", _("Water the plants again, longer than before")),
    )


def _flat() -> Steps:
    return (
        ("drain", _("Find the storm drain; cover it; lead the water to the lawn")),
        ("prewet", _("Wet the surface and the plants beside it")),
        ("test", _("Test spot in a corner")),
        ("apply", _("Treat, then clean in even passes")),
        ("rinse", _("Rinse away from the house; write the rinse down")),
    )


def _gutters() -> Steps:
    return (
        ("ladder", _("Ladder a quarter of its length out, held or tied; look for power lines first")),
        ("test", _("Test spot where a cleaner is used")),
        ("work", _("Clear by hand, bag what comes out")),
        ("rinse", _("Flush; see that every downspout runs")),
    )


def _other() -> Steps:
    return (
        ("test", _("Test spot, or the first piece alone")),
        ("work", _("Do the work as agreed")),
        ("rinse", _("Rinse, look at it with the customer")),
    )


def _with_stops(steps: Steps, kinds: Sequence[str], before: Collection[str]) -> Steps:
    """The steps, and where something is poured on what it must never meet, the rinse between as a step of its own:
    ahead of the first drop where an earlier line left it, ahead of the last rinse where this line pours both."""
    earlier = {other for kind in kinds for other in reacts_with(kind, before)}
    own = {other for kind in kinds for other in reacts_with(kind, kinds)}
    is_first_drop = True
    for code, words in steps:
        if earlier and is_first_drop and code in FIRST_DROPS:
            is_first_drop = False
            yield "before", _stop_words([*sorted(earlier), *kinds])
        if own and code == "rinse":
            yield "between", _stop_words([kind for kind in kinds if kind in own])
        yield code, words


def _stop_words(kinds: Iterable[str]) -> str:
    names = ", ".join(str(ChemistryChoice(kind).label) for kind in dict.fromkeys(kinds))
    return _("STOP between %(names)s: rinse, write the rinse down, then pour the next") % {"names": names}


def _placed(notes: dict[str, list[str]], codes: Sequence[str]) -> dict[str, list[str]]:
    """What belongs to a step that this work does not have stands at its first one, so that nothing is lost."""
    here = {code: list(notes.get(code, ())) for code in codes}
    here[codes[0]] += [words for code, found in notes.items() if code not in here for words in found]
    return here


def _notes(line: JobLine, job: Job, found: Found) -> dict[str, list[str]]:
    """What was found on the line's walls, or on the house as a whole, by the step where it matters."""
    walls = {wall.pk: wall for wall in walls_of(line, job)}
    notes: dict[str, list[str]] = {}
    for words in _chalk_words(walls, found, line):
        notes.setdefault("agitate", []).append(words)
    for finding in found.findings:
        if finding.wall_id is None or finding.wall_id in walls:
            step, words = _finding_words(finding)
            notes.setdefault(step, []).append(words)
    notes.setdefault("agitate", []).extend(_paint_words(list(walls.values()), job))
    return notes


def _chalk_words(walls: Mapping[int, Wall], found: Found, line: JobLine) -> list[str]:
    """One line for each reading, with the walls that have it."""
    names: dict[Decimal, list[str]] = {}
    for wall_id, reading in found.chalk.items():
        if wall_id in walls:
            names.setdefault(reading.reading, []).append(_(walls[wall_id].name))
    words = (
        _("%(wall)s: chalk %(reading)s of 5")
        if line.service.removes_chalk
        else _("%(wall)s: chalk %(reading)s of 5: no brush, no pressure; touching leaves marks")
    )
    return [words % {"wall": ", ".join(of), "reading": step_text(reading)} for reading, of in names.items()]


def _finding_words(finding: Finding) -> tuple[str, str]:
    where = _(finding.wall.name) if finding.wall else _("house")
    step, words = {
        FindingKind.OUTLET: ("cover", _("%(wall)s: outlet without a cover, seal it before any water")),
        FindingKind.OPEN_WINDOW: ("cover", _("%(wall)s: window that does not shut, tape it or keep the water away")),
        FindingKind.BROKEN_PANEL: ("apply", _("%(wall)s: broken panel, no water behind it")),
        FindingKind.FAILED_CAULK: ("rinse", _("%(wall)s: failed caulk, no spray into the joint")),
        FindingKind.LOOSE_PAINT: ("agitate", _("%(wall)s: loose paint, neither brush nor pressure")),
        FindingKind.SHUTTERS: ("agitate", _("%(wall)s: oxidised shutters, do not rub")),
        FindingKind.OTHER: ("prewet", "%(wall)s"),
    }[FindingKind(finding.kind)]
    more = f": {finding.note}" if finding.note else ""
    return step, words % {"wall": where} + more


def _paint_words(walls: Sequence[Wall], job: Job) -> Iterable[str]:
    """Paint from before 1978, where it is known or the house and its paint are old enough, and where nobody knows."""
    for wall in walls:
        is_old = paint_is_old(wall, job)
        if is_old:
            words = _("%(wall)s: paint from before 1978: lead-safe practice before any of it is disturbed (40 CFR 745)")
            yield words % {"wall": _(wall.name)}
        elif is_old is None:
            words = _("%(wall)s: age of the paint unknown: neither brush nor pressure until somebody knows")
            yield words % {"wall": _(wall.name)}
