"""The sentences from which a phone without a signal puts a notice together: those of the notice, made ahead in every
language and kept with the page of the walkthrough."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext as translated  # not for the extraction of texts

from jobs.walkthroughs import notice_words as words
from jobs.walkthroughs.domain import SHOW_FROM
from jobs.walkthroughs.inputs import PARTS, SIDES
from jobs.walkthroughs.models import FindingKind, LeftOutReason
from jobs.walkthroughs.selectors.removal import removal_job
from jobs.walkthroughs.words import wall_name
from jobs.work.models import Job
from shared.company.models import Company
from shared.company.selectors import company_get
from shared.web.words import day_words

DAYS_AHEAD = 8  # a page that was kept on a phone is good for about a week


@dataclass(frozen=True, slots=True)
class _House:
    """What the sentences need to know of a job's house, read once for all languages."""

    address: str
    walls: Mapping[int, str]
    price: words.KnownPrice
    company: Company
    days: Sequence[date]


def phone_sentences(*, job: Job, today: date) -> dict[str, Any]:
    """By language: the fixed sentences, the forms of the lines with their places as `%(name)s`, and the names of the
    job's walls, of findings, reasons and days. `asks_removal` says whether the homeowner is asked for a wish where
    chalk is found, `show_from` from which reading on a wall is shown."""
    house = _House(
        address=job.property.address,
        walls={wall.pk: wall.name for wall in job.property.walls.all()},
        price=words.known_price(job, today),
        company=company_get(),
        days=[today + timedelta(days=ahead) for ahead in range(DAYS_AHEAD)],
    )
    return {
        "show_from": float(SHOW_FROM),
        "asks_removal": removal_job(job.property_id) is None,
        "languages": {code: _in_language(code, house) for code, _name in settings.LANGUAGES},
    }


def _in_language(code: str, house: _House) -> dict[str, Any]:
    with translation.override(code):
        return {"sentences": _sentences(house), "forms": _forms(), "names": _names(house)}


def _sentences(house: _House) -> dict[str, Any]:
    return {
        "title": translated(words.TITLE),
        "found_title": translated(words.FOUND_TITLE),
        "chalk_title": translated(words.CHALK_TITLE),
        "chalk": words.chalk_words(),
        "removal_title": translated(words.REMOVAL_TITLE),
        "removal": [*words.removal_words(), words.known_price_words(house.price, house.company.currency)],
        "pictures_title": translated(words.PICTURES_TITLE),
        "footer": words.footer_words(house.company),
    }


def _forms() -> dict[str, str]:
    return {
        "place": words.PLACE_LINE,
        "wall": translated(words.WALL_LINE),
        "left_out": translated(words.LEFT_OUT_LINE),
        "at_wall": words.AT_WALL,
        "with_note": words.WITH_NOTE,
        "picture": translated(words.PICTURE_LINE),
        "picture_at": words.PICTURE_AT,
        "not_drawn": translated(words.NOT_DRAWN_LINE),
    }


def _names(house: _House) -> dict[str, Any]:
    return {
        "address": house.address,
        "days": {day.isoformat(): day_words(day) for day in house.days},
        "scale": [words.scale_words(grade) for grade in range(len(words.SCALE))],
        "walls": {str(pk): wall_name(name) for pk, name in house.walls.items()},
        "new_walls": {name: wall_name(name) for name in (*SIDES, *PARTS)},
        "reasons": {value: str(label) for value, label in LeftOutReason.choices},
        "findings": {value: str(label) for value, label in FindingKind.choices},
    }
