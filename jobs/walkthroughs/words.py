from datetime import date
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext as translated  # not for the extraction of texts

from jobs.customers.models import Property
from jobs.walkthroughs.domain import LARGEST, must_be_shown, step_text
from jobs.walkthroughs.models import ChalkReading, Photo
from shared.company.selectors import company_get
from shared.geo import great_circle_metres
from shared.units import feet_from_metres
from shared.web.words import day_words


def wall_name(name: str) -> str:
    """The usual names of walls have translations; any other stays as it was written."""
    return translated(name) if name else ""


def photo_words(photo: Photo, place: Property) -> str:
    """When a picture was taken and how far from the house, as its own file said; empty where it said neither."""
    zone = ZoneInfo(company_get().timezone)
    said = [f"{photo.taken_at.astimezone(zone):%Y-%m-%d %H:%M}"] if photo.taken_at else []
    if photo.latitude is not None and photo.longitude is not None and place.coordinates is not None:
        away = great_circle_metres(photo.latitude, photo.longitude, *place.coordinates)
        said.append(_("%(feet)s ft from the house") % {"feet": f"{feet_from_metres(away):,}"})
    return ", ".join(said)


def chalk_is_left(reading: ChalkReading | None, removed_on: date | None) -> bool:
    """Whether a reading that has to be shown still stands: no removal since the day it was read."""
    return reading is not None and must_be_shown(reading.reading) and chalk_is_standing(reading, removed_on)


def chalk_is_standing(reading: ChalkReading, removed_on: date | None) -> bool:
    """Whether a reading still says how the wall is: no chalk was taken off since the day it was read."""
    return removed_on is None or removed_on < reading.read_on


def found_words(reading: ChalkReading) -> str:
    """What was read, and nothing of what follows from it."""
    return _("chalk %(reading)s of %(largest)s") % {"reading": step_text(reading.reading), "largest": LARGEST}


def reading_words(reading: ChalkReading | None, removed_on: date | None) -> str:
    """One line about the chalk of a wall: what was read, when, and what follows from it."""
    if reading is None:
        return _("chalk not read yet")
    found = found_words(reading)
    if removed_on is not None and removed_on >= reading.read_on:
        return _("%(found)s on %(day)s, taken off since") % {"found": found, "day": day_words(reading.read_on)}
    if must_be_shown(reading.reading):
        return _("%(found)s: show the homeowner before any water flows") % {"found": found}
    return found
