"""Writing down a walkthrough, exactly once."""

from datetime import date, datetime
from typing import Any
from urllib.parse import urlsplit

from django.core.exceptions import ValidationError
from django.core.validators import URLValidator
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.customers.domain.facing import facing_of_side
from jobs.customers.models import Property, Wall, WallKind
from jobs.customers.services import property_update, wall_create
from jobs.walkthroughs.domain import LEAST_SPOTS, MOST_SPOTS, is_on_scale, wall_reading
from jobs.walkthroughs.errors import AlreadyRecorded
from jobs.walkthroughs.inputs import (
    MOST_PHOTOS,
    PARTS,
    SIDES,
    FindingInput,
    LeftOutInput,
    WalkthroughInput,
    WallInput,
)
from jobs.walkthroughs.models import (
    Acknowledgement,
    Finding,
    FindingKind,
    LeftOutReason,
    Walkthrough,
    WallFinding,
    WallLeftOut,
)
from jobs.walkthroughs.selectors.walls import untested_walls
from jobs.walkthroughs.services.readings import reading_store, require_read_on
from jobs.walkthroughs.words import wall_name
from jobs.work.models import Job
from shared import clock
from shared.background.services import enqueue
from shared.company.selectors import company_get
from shared.errors import Refused
from shared.events.services import event_record


@transaction.atomic
def walkthrough_record(*, job: Job, entry: WalkthroughInput, now: datetime, actor: Any = None) -> Walkthrough:
    """Write down a walkthrough with readings and findings. The same entry again is the same walkthrough.

    Each wall of the property is tested or left out with a reason; one without walls has its four sides. Raises
    AlreadyRecorded where the key came before with other content, Refused for values that cannot be.
    """
    known = Walkthrough.objects.filter(key=entry.key).first()
    if known is not None:
        return _same(known, job, entry)
    _require(job.property, entry, clock.local_date(company_get().timezone, now))
    row = Walkthrough.objects.create(
        key=entry.key,
        sent_digest=entry.digest,
        job=job,
        property=job.property,
        walked_on=entry.walked_on,
        days_since_rain=entry.days_since_rain,
        note=entry.note,
        video_url=entry.video_url,
        photo_count=entry.photo_count,
        walked_by=actor,
        received_at=now,
    )
    _front_store(job.property, entry.front_degrees, actor)
    for wall in entry.walls:
        _wall_store(row, wall, actor)
    for left_out in entry.left_out:
        _left_out_store(row, left_out, actor)
    for finding in entry.findings:
        _finding_store(row, finding, actor)
    event_record(kind="walkthrough.recorded", subject=job, actor=actor, data={"walkthrough": row.pk})
    if entry.walls:
        enqueue("chalking.forecast_property", property_id=job.property_id)
    return row


def _same(known: Walkthrough, job: Job, entry: WalkthroughInput) -> Walkthrough:
    if (known.job_id, known.sent_digest) == (job.pk, entry.digest):
        return known
    answer = Acknowledgement.objects.filter(notice__walkthrough=known).first()
    if answer is not None:
        words = _("%(name)s acknowledged this walkthrough as it is. It is not changed; a correction is a new one.")
        raise AlreadyRecorded(words % {"name": answer.typed_name})
    raise AlreadyRecorded(_("This walkthrough is written down already. It is not changed; a correction is a new one."))


# --- what is taken ---


def _require(place: Property, entry: WalkthroughInput, today: date) -> None:
    if not entry.walls and not entry.findings:
        raise Refused(_("Look at one wall at least."))
    require_read_on(entry.walked_on, today=today)
    if entry.photo_count > MOST_PHOTOS:
        raise Refused(_("24 pictures are enough for one walkthrough."))
    if entry.front_degrees is not None and not 0 <= entry.front_degrees < 360:
        raise Refused(_("A compass has 0 to 359 degrees."))
    _require_video(entry.video_url)
    _require_spots(entry)
    _require_every_wall(place, entry)


def _require_video(url: str) -> None:
    if not url:
        return
    try:
        URLValidator(schemes=["https"])(url)
    except ValidationError as error:
        raise Refused(_("The link to the video must begin with https://.")) from error
    if urlsplit(url).username:
        raise Refused(_("The link to the video must not hold a name or password."))


def _require_spots(entry: WalkthroughInput) -> None:
    for wall in entry.walls:
        if not all(is_on_scale(spot) for spot in wall.spots):
            raise Refused(_("A chalk reading is 0 to 5 in half steps."))
        if not LEAST_SPOTS <= len(wall.spots) <= MOST_SPOTS:
            raise Refused(_("Test at least three spots on each wall that you look at, nine at most."))


def _require_every_wall(place: Property, entry: WalkthroughInput) -> None:
    missing = untested_walls(place, entry)
    if missing:
        words = _("Test each wall, or say why not: %(walls)s.")
        raise Refused(words % {"walls": ", ".join(map(wall_name, missing))})


# --- what is stored ---


def _front_store(place: Property, degrees: int | None, actor: Any) -> None:
    """What the office wrote down about the street side stays."""
    if degrees is not None and place.front_degrees is None:
        property_update(place=place, actor=actor, front_degrees=degrees)


def _wall_store(row: Walkthrough, given: WallInput, actor: Any) -> None:
    wall = wall_of(row, given.wall_id, given.name, actor)
    _require_once(row, wall)
    reading = reading_store(
        wall=wall,
        reading=wall_reading(given.spots),
        read_on=row.walked_on,
        today=row.walked_on,
        days_since_rain=row.days_since_rain,
        actor=actor,
    )
    spots = [float(spot) for spot in given.spots]
    WallFinding.objects.create(walkthrough=row, wall=wall, spots=spots, reading=reading)


def _left_out_store(row: Walkthrough, given: LeftOutInput, actor: Any) -> None:
    if given.reason not in LeftOutReason.values:
        raise Refused(_("There is no such reason for leaving a wall out."), reason=given.reason)
    wall = wall_of(row, given.wall_id, given.name, actor)
    _require_once(row, wall)
    WallLeftOut.objects.create(walkthrough=row, wall=wall, reason=given.reason)


def _require_once(row: Walkthrough, wall: Wall) -> None:
    if row.wall_findings.filter(wall=wall).exists() or row.left_out.filter(wall=wall).exists():
        raise Refused(_("A wall is there twice."))


def _finding_store(row: Walkthrough, given: FindingInput, actor: Any) -> None:
    if given.kind not in FindingKind.values:
        raise Refused(_("There is no such kind of finding."), kind=given.kind)
    if given.kind == FindingKind.OTHER and not given.note:
        raise Refused(_("Say in a few words what else you found."))
    wall = wall_of(row, given.wall_id, given.name, actor) if given.wall_id or given.name else None
    Finding.objects.create(walkthrough=row, kind=given.kind, note=given.note, wall=wall)


def wall_of(row: Walkthrough, wall_id: int | None, name: str, actor: Any) -> Wall:
    """A wall of the property that was walked around, by its id or its name; a new name is taken down.

    Raises Refused for a wall of another house.
    """
    walls = Wall.objects.filter(property=row.property_id)
    if wall_id is not None:
        wall = walls.filter(pk=wall_id).first()
        if wall is None:
            raise Refused(_("This wall belongs to another house."), wall=wall_id)
        return wall
    return walls.filter(name=name).first() or _wall_new(row.property, name, actor)


def _wall_new(place: Property, name: str, actor: Any) -> Wall:
    """One of the four sides faces as the street side says, where that is known."""
    side, front = SIDES.get(name), place.front_degrees
    facing = facing_of_side(front, side) if side and front is not None else None
    kind = PARTS.get(name, WallKind.FACE)
    return wall_create(place=place, actor=actor, name=name, kind=kind, facing_degrees=facing, storeys=place.storeys)
