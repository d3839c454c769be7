"""A walkthrough as it is handed to the services, from the form or from a phone's queue."""

import json
import uuid
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from django.utils.translation import gettext_noop

from jobs.customers.models import WallKind
from jobs.walkthroughs.domain import step_text
from shared.kept_files import digest_of

FOLDER = "walkthroughs"  # below MEDIA_ROOT: pictures and printed notices
MOST_PHOTOS = 24
# The walls of a house of which nobody took any down, with their side as seen from the street, and what else may weather
# there. These names are kept in English; whoever reads them gets them translated.
SIDES = {
    gettext_noop("front wall"): "front",
    gettext_noop("right wall"): "right",
    gettext_noop("back wall"): "back",
    gettext_noop("left wall"): "left",
}
PARTS = {
    gettext_noop("Shutters"): WallKind.SHUTTERS,
    gettext_noop("Garage door"): WallKind.GARAGE_DOOR,
    gettext_noop("Trim"): WallKind.TRIM,
}


@dataclass(frozen=True, slots=True)
class WallInput:
    """The spots of one wall: of the wall `wall_id`, or of one that is taken down now under `name`."""

    spots: tuple[Decimal, ...]
    wall_id: int | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class LeftOutInput:
    """A wall, named as above, that was not tested, and why."""

    reason: str
    wall_id: int | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class FindingInput:
    """Something else; where it is, is said as above or not at all."""

    kind: str
    note: str = ""
    wall_id: int | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class WalkthroughInput:
    """`front_degrees` is where the street side looks to, for a property that does not say so yet."""

    key: uuid.UUID
    walked_on: date
    walls: tuple[WallInput, ...] = ()
    findings: tuple[FindingInput, ...] = field(default=())
    days_since_rain: int | None = None
    note: str = ""
    video_url: str = ""
    photo_count: int = 0
    left_out: tuple[LeftOutInput, ...] = ()
    front_degrees: int | None = None

    @property
    def digest(self) -> str:
        """The same for the same content, however it came."""
        walls = [[wall.wall_id, wall.name, [step_text(spot) for spot in wall.spots]] for wall in self.walls]
        left_out = [[wall.wall_id, wall.name, wall.reason] for wall in self.left_out]
        findings = [[found.kind, found.note, found.wall_id, found.name] for found in self.findings]
        rest = [self.walked_on.isoformat(), self.days_since_rain, self.note, self.video_url, self.photo_count]
        return digest_of(json.dumps([walls, left_out, findings, self.front_degrees, rest]).encode())


@dataclass(frozen=True, slots=True)
class OfflineAcknowledgement:
    """What a phone without a signal showed, line by line, and who typed a name below `statement`. `pictures` are the
    SHA-256 of the pictures that it drew, as they are sent."""

    key: uuid.UUID
    job_id: int
    at: datetime
    language: str
    typed_name: str
    statement: str
    text: str
    pictures: tuple[str, ...] = ()
    wants_removal: bool = False

    @property
    def digest(self) -> str:
        """The same for the same content, however it came."""
        said = [self.job_id, self.at.isoformat(), self.language, self.typed_name, self.statement, self.text]
        return digest_of(json.dumps([*said, list(self.pictures), self.wants_removal]).encode())


@dataclass(frozen=True, slots=True)
class OfflineAbsence:
    """Nobody was home, written down without a signal: how the notice goes once it can."""

    key: uuid.UUID
    job_id: int
    at: datetime
    sent_how: str
    note: str = ""

    @property
    def digest(self) -> str:
        """The same for the same content, however it came."""
        return digest_of(json.dumps([self.job_id, self.at.isoformat(), self.sent_how, self.note]).encode())
