"""A walkthrough as it is handed to the services, from the form or from a phone's queue."""

import json
import uuid
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from jobs.walkthroughs.domain import step_text
from shared.kept_files import digest_of

FOLDER = "walkthroughs"  # below MEDIA_ROOT: pictures and printed notices
MOST_PHOTOS = 24


@dataclass(frozen=True, slots=True)
class WallInput:
    """The spots of one wall: of the wall `wall_id`, or of one that is taken down now under `name`."""

    spots: tuple[Decimal, ...]
    wall_id: int | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class FindingInput:
    kind: str
    note: str = ""
    wall_id: int | None = None


@dataclass(frozen=True, slots=True)
class WalkthroughInput:
    key: uuid.UUID
    walked_on: date
    walls: tuple[WallInput, ...] = ()
    findings: tuple[FindingInput, ...] = field(default=())
    days_since_rain: int | None = None
    note: str = ""
    video_url: str = ""
    photo_count: int = 0

    @property
    def digest(self) -> str:
        """The same for the same content, however it came."""
        walls = [[wall.wall_id, wall.name, [step_text(spot) for spot in wall.spots]] for wall in self.walls]
        findings = [[finding.kind, finding.note, finding.wall_id] for finding in self.findings]
        rest = [self.walked_on.isoformat(), self.days_since_rain, self.note, self.video_url, self.photo_count]
        return digest_of(json.dumps([walls, findings, rest]).encode())
