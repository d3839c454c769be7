"""Writing down a walkthrough and its pictures, each exactly once."""

import uuid
from datetime import datetime
from typing import Any
from urllib.parse import urlsplit

from django.core.exceptions import ValidationError
from django.core.validators import URLValidator
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.customers.models import Wall
from jobs.customers.services import wall_create
from jobs.walkthroughs.domain import LEAST_SPOTS, MOST_SPOTS, is_on_scale, wall_reading
from jobs.walkthroughs.errors import AlreadyRecorded
from jobs.walkthroughs.inputs import FOLDER, MOST_PHOTOS, FindingInput, WalkthroughInput, WallInput
from jobs.walkthroughs.models import Acknowledgement, Finding, FindingKind, Photo, Walkthrough, WallFinding
from jobs.walkthroughs.pictures import Picture, picture_make
from jobs.walkthroughs.services.readings import reading_store
from jobs.work.models import Job
from shared import clock
from shared.background.services import enqueue
from shared.company.selectors import company_get
from shared.errors import Refused
from shared.events.services import event_record
from shared.kept_files import digest_of, file_forget, file_store


@transaction.atomic
def walkthrough_record(*, job: Job, entry: WalkthroughInput, now: datetime, actor: Any = None) -> Walkthrough:
    """Write down a walkthrough with readings and findings. The same entry again is the same walkthrough.

    Raises AlreadyRecorded where the key came before with other content, Refused for values that cannot be.
    """
    known = Walkthrough.objects.filter(key=entry.key).first()
    if known is not None:
        return _same(known, job, entry)
    _require(entry, clock.local_date(company_get().timezone, now))
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
    for wall in entry.walls:
        _wall_store(row, wall, actor)
    for finding in entry.findings:
        _finding_store(row, finding)
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


def _require(entry: WalkthroughInput, today: Any) -> None:
    if not entry.walls and not entry.findings:
        raise Refused(_("Look at one wall at least."))
    if entry.walked_on > today:
        raise Refused(_("A reading cannot be of a day that has not come yet."))
    if entry.photo_count > MOST_PHOTOS:
        raise Refused(_("24 pictures are enough for one walkthrough."))
    _require_video(entry.video_url)
    for wall in entry.walls:
        if not all(is_on_scale(spot) for spot in wall.spots):
            raise Refused(_("A chalk reading is 0 to 5 in half steps."))
        if not LEAST_SPOTS <= len(wall.spots) <= MOST_SPOTS:
            raise Refused(_("Test at least three spots on each wall that you look at, nine at most."))


def _require_video(url: str) -> None:
    if not url:
        return
    try:
        URLValidator(schemes=["https"])(url)
    except ValidationError as error:
        raise Refused(_("The link to the video must begin with https://.")) from error
    if urlsplit(url).username:
        raise Refused(_("The link to the video must not hold a name or password."))


def _wall_store(row: Walkthrough, given: WallInput, actor: Any) -> None:
    wall = _wall(row, given, actor)
    if row.wall_findings.filter(wall=wall).exists():
        raise Refused(_("A wall is there twice."))
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


def _wall(row: Walkthrough, given: WallInput, actor: Any) -> Wall:
    walls = Wall.objects.filter(property=row.property_id)
    if given.wall_id is not None:
        return _of_property(row, given.wall_id)
    known = walls.filter(name=given.name).first()
    return known or wall_create(place=row.property, actor=actor, name=given.name)


def _of_property(row: Walkthrough, wall_id: int) -> Wall:
    wall = Wall.objects.filter(property=row.property_id, pk=wall_id).first()
    if wall is None:
        raise Refused(_("This wall belongs to another house."), wall=wall_id)
    return wall


def _finding_store(row: Walkthrough, given: FindingInput) -> None:
    if given.kind not in FindingKind.values:
        raise Refused(_("There is no such kind of finding."), kind=given.kind)
    if given.kind == FindingKind.OTHER and not given.note:
        raise Refused(_("Say in a few words what else you found."))
    wall = None if given.wall_id is None else _of_property(row, given.wall_id)
    Finding.objects.create(walkthrough=row, kind=given.kind, note=given.note, wall=wall)


def photo_add(*, walkthrough: Walkthrough, key: uuid.UUID, data: bytes, now: datetime, actor: Any = None) -> Photo:
    """Keep a picture of a walkthrough. The same picture again is the same row, whatever its key.

    Raises PictureTooLarge, PictureRefused, AlreadyRecorded (the key came with another picture), Refused.
    """
    digest = digest_of(data)
    known = _known_photo(walkthrough, key, digest)
    if known is not None:
        return known
    picture = picture_make(data, company_get().timezone)
    name = file_store(FOLDER, picture.content, "jpg")
    try:
        return _photo_store(walkthrough, key, digest, picture, name, now, actor)
    except BaseException:
        file_forget(name)
        raise


def _known_photo(walkthrough: Walkthrough, key: uuid.UUID, digest: str) -> Photo | None:
    named = Photo.objects.filter(key=key).first()
    if named is not None and (named.walkthrough_id, named.sent_digest) != (walkthrough.pk, digest):
        raise AlreadyRecorded(_("Another picture was sent under this key already."))
    return named or walkthrough.photos.filter(sent_digest=digest).first()


@transaction.atomic
def _photo_store(
    walkthrough: Walkthrough, key: uuid.UUID, digest: str, picture: Picture, name: str, now: datetime, actor: Any
) -> Photo:
    if walkthrough.photos.count() >= MOST_PHOTOS:
        raise Refused(_("24 pictures are enough for one walkthrough."))
    return Photo.objects.create(
        walkthrough=walkthrough,
        key=key,
        file=name,
        digest=digest_of(picture.content),
        sent_digest=digest,
        size_bytes=len(picture.content),
        width_px=picture.width_px,
        height_px=picture.height_px,
        taken_at=picture.taken_at,
        latitude=picture.latitude,
        longitude=picture.longitude,
        received_at=now,
        sent_by=actor,
    )
