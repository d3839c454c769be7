"""What the newest fit learnt from the readings, in words; for the page, the API and the command."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from django.utils.translation import gettext as _

from jobs.chalking.domain.findings import Finding, Range, What, findings
from jobs.chalking.domain.fitting import Fit
from jobs.chalking.domain.growth import prior_of
from jobs.chalking.models import ChalkModel
from jobs.chalking.rows import EFFECTS, reader_ids_of, stored_fit
from jobs.chalking.selectors import chalk_model_now, chalk_setting_get
from jobs.customers.models import Material, WallKind
from jobs.walkthroughs.models import ChalkReading
from shared.people.models import User


@dataclass(frozen=True)
class LearntLine:
    """`before` and `now` in words, each a middle with its range of 80 percent."""

    finding: Finding
    words: str
    before: str
    now: str


def chalk_learnt() -> tuple[ChalkModel | None, list[LearntLine]]:
    """The newest fit and what it says; nothing before the first. Materials and kinds that nobody read are left out."""
    model = chalk_model_now()
    if model is None:
        return None, []
    readers = reader_ids_of(model)
    names, found = stored_fit(model, readers)
    mean, spread = prior_of(len(EFFECTS), len(readers) + 1)
    told = findings(names, found, Fit(mean, np.diag(spread**2), 0, 0.0), limit=chalk_setting_get().limit)
    read = _was_read()
    people = {
        str(person.pk): person.get_full_name() or person.username for person in User.objects.filter(pk__in=readers)
    }
    return model, [_line(each, people) for each in told if each.what not in _GROUPS or each.subject in read]


_GROUPS = (What.MATERIAL, What.KIND)


def _was_read() -> set[str]:
    walls = ChalkReading.objects.order_by().values_list("wall__material", "wall__kind").distinct()
    return {code for row in walls for code in row}


def _line(found: Finding, people: dict[str, str]) -> LearntLine:
    ranges = (found.before, found.now)
    if found.what == What.YEARS:
        before, now = (_range_words(each, _("%s years")) for each in ranges)
    elif found.what in (What.RAIN, What.OFF, What.READER):
        before, now = (_range_words(each, "%s", sign="" if found.what == What.OFF else "+") for each in ranges)
    else:
        before, now = (_range_words(each, _("%s times as fast")) for each in ranges)
    return LearntLine(found, _words(found, people), before, now)


def _range_words(found: Range, unit: str, *, sign: str = "") -> str:
    low, middle, high = (_tenths(value, sign) for value in (found.low, found.middle, found.high))
    return _("%(middle)s (%(low)s to %(high)s)") % {"middle": unit % middle, "low": low, "high": high}


def _tenths(value: float, sign: str) -> str:
    text = f"{value:{sign}.1f}"
    return text if float(text) else "0.0"


def _words(found: Finding, people: dict[str, str]) -> str:
    return {
        What.YEARS: _("An open mid-tone vinyl wall that faces the noon sun passes the limit after"),
        What.DARK: _("Black against white"),
        What.AGAIN: _("After a removal against before any"),
        What.PACE: _("The fastest in ten of like walls against the middle one"),
        What.MATERIAL: _("%(subject)s against vinyl"),
        What.KIND: _("%(subject)s against a wall"),
        What.RAIN: _("Within three days of rain a wall reads higher by"),
        What.OFF: _("A reading is off by (standard deviation)"),
        What.READER: _("%(subject)s reads higher than others by"),
    }[found.what] % {"subject": _subject(found, people)}


def _subject(found: Finding, people: dict[str, str]) -> str:
    if found.what == What.READER:
        return people.get(found.subject, _("Somebody"))
    labels: dict[str, Any] = {What.MATERIAL: Material, What.KIND: WallKind}
    return str(labels[found.what](found.subject).label).capitalize() if found.what in labels else ""
