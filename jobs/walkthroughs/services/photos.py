"""Keeping the pictures of a walkthrough, each exactly once."""

import uuid
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.customers.models import Wall
from jobs.walkthroughs.errors import AlreadyRecorded
from jobs.walkthroughs.inputs import FOLDER, MOST_PHOTOS
from jobs.walkthroughs.models import Photo, Walkthrough
from jobs.walkthroughs.pictures import Picture, picture_make
from jobs.walkthroughs.services.recording import wall_of
from shared.company.selectors import company_get
from shared.errors import Refused
from shared.kept_files import digest_of, file_forget, file_store


def photo_add(
    *,
    walkthrough: Walkthrough,
    key: uuid.UUID,
    data: bytes,
    now: datetime,
    wall_id: int | None = None,
    wall_name: str = "",
    actor: Any = None,
) -> Photo:
    """Keep a picture of a walkthrough, of one of its walls where one is named. The same picture again is the same row,
    whatever its key.

    Raises PictureTooLarge, PictureRefused, AlreadyRecorded (the key came with another picture), Refused.
    """
    digest = digest_of(data)
    known = _known_photo(walkthrough, key, digest)
    if known is not None:
        return known
    wall = wall_of(walkthrough, wall_id, wall_name, actor) if wall_id is not None or wall_name else None
    picture = picture_make(data, company_get().timezone)
    name = file_store(FOLDER, picture.content, "jpg")
    try:
        return _photo_store(walkthrough, key, digest, picture, name, wall, now, actor)
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
    walkthrough: Walkthrough,
    key: uuid.UUID,
    digest: str,
    picture: Picture,
    name: str,
    wall: Wall | None,
    now: datetime,
    actor: Any,
) -> Photo:
    if walkthrough.photos.count() >= MOST_PHOTOS:
        raise Refused(_("24 pictures are enough for one walkthrough."))
    return Photo.objects.create(
        walkthrough=walkthrough,
        key=key,
        wall=wall,
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
