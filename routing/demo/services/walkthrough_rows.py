"""Walkthroughs of some agreed jobs, as crews and office left them: acknowledged, sent because nobody was home, and one
acknowledged without a signal below an old sentence, which waits for the office. The pictures are drawn."""

import io
import random
import uuid
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from PIL import ExifTags, Image, ImageDraw

from jobs.customers.models import Property
from jobs.walkthroughs.inputs import FindingInput, LeftOutInput, OfflineAcknowledgement, WalkthroughInput, WallInput
from jobs.walkthroughs.models import FindingKind, LeftOutReason, Notice, SentHow
from jobs.walkthroughs.services import (
    acknowledge_offline,
    notice_acknowledge,
    notice_make,
    notice_send,
    photo_add,
    walkthrough_record,
)
from jobs.walkthroughs.services.offline import expected_words
from jobs.work.choices import JobState
from jobs.work.models import Job
from routing.demo.services.house_rows import OFFICE_OPENS, at
from shared.people.models import User
from shared.people.roles import Role

WALKED = 3
SPOTS = (("3", "3.5", "2.5"), ("1", "0.5", "1"), ("2", "2.5", "2"), ("0.5", "0.5", "1"))


def walkthroughs_store(*, today: date, seed: int) -> None:
    """Three jobs of the book that have walls; the same seed and day give the same."""
    lead = User.objects.filter(role=Role.CREW_LEAD).order_by("pk").first()
    jobs = Job.objects.filter(
        reference__startswith="demo-o",
        state=JobState.AGREED,
        lines__service__needs_walkthrough=True,
        property__walls__isnull=False,
    )
    moment = at(today, OFFICE_OPENS - 60)
    notices = [
        _walked(job, random.Random(f"{seed}:{job.reference}"), moment, lead)  # noqa: S311  no secret
        for job in jobs.distinct().order_by("pk")[:WALKED]
    ]
    for settle, notice in zip((_acknowledged, _nobody_home, _without_signal), notices, strict=False):
        settle(notice, moment, lead)


def _walked(job: Job, rng: random.Random, moment: datetime, lead: User | None) -> Notice:
    walls = list(job.property.walls.order_by("pk"))
    entry = WalkthroughInput(
        key=uuid.UUID(int=rng.getrandbits(128), version=4),
        walked_on=moment.date(),
        walls=tuple(
            WallInput(spots=tuple(map(Decimal, spots)), wall_id=wall.pk)
            for wall, spots in zip(walls, SPOTS, strict=False)
        ),
        left_out=tuple(LeftOutInput(LeftOutReason.NO_ACCESS, wall_id=wall.pk) for wall in walls[len(SPOTS) :]),
        findings=(
            FindingInput(kind=FindingKind.OUTLET, wall_id=walls[0].pk),
            FindingInput(kind=FindingKind.FAILED_CAULK, wall_id=walls[1].pk, note="left of the window"),
        ),
        days_since_rain=rng.randint(1, 9),
        photo_count=1,
    )
    row = walkthrough_record(job=job, entry=entry, now=moment, actor=lead)
    key = uuid.UUID(int=rng.getrandbits(128), version=4)
    photo_add(
        walkthrough=row,
        key=key,
        data=_drawn_wall(rng, job.property, moment),
        now=moment,
        wall_id=walls[0].pk,
        actor=lead,
    )
    return notice_make(walkthrough=row, now=moment, actor=lead)


def _acknowledged(notice: Notice, moment: datetime, lead: User | None) -> None:
    customer = notice.walkthrough.property.customer
    notice_acknowledge(
        notice=notice,
        language=customer.language,
        typed_name=customer.name,
        now=moment,
        by_link=False,
        device="demo",
        wants_removal=True,
        actor=lead,
    )


def _nobody_home(notice: Notice, moment: datetime, lead: User | None) -> None:
    notice_send(notice=notice, sent_how=SentHow.PAPER, note="below the mat", now=moment, actor=lead)
    if notice.walkthrough.property.customer.email:
        notice_send(notice=notice, sent_how=SentHow.EMAIL, now=moment, actor=lead)


def _without_signal(notice: Notice, moment: datetime, lead: User | None) -> None:
    """The phone's page was kept before a sentence was changed: the office sees both texts."""
    row, customer = notice.walkthrough, notice.walkthrough.property.customer
    entry = OfflineAcknowledgement(
        key=uuid.uuid5(row.key, "answer"),
        job_id=row.job_id,
        at=moment,
        language=customer.language,
        typed_name=customer.name,
        statement="",
        text="",
        pictures=tuple(photo.sent_digest for photo in row.photos.all()),
    )
    text, statement = expected_words(row, entry)
    first, _, rest = text.partition("\n")
    entry = replace(entry, statement=statement, text=f"{first} (2025)\n{rest}")
    acknowledge_offline(walkthrough=row, entry=entry, now=moment + timedelta(hours=2), device="demo", actor=lead)


def _drawn_wall(rng: random.Random, place: Property, moment: datetime) -> bytes:
    """Siding with a pale streak where a finger went, taken some steps from the middle of the house."""
    image = Image.new("RGB", (800, 600), (94, 122, 138))
    pen = ImageDraw.Draw(image)
    for y in range(0, 600, 60):
        pen.line((0, y, 800, y), fill=(66, 88, 100), width=4)
    x, y = rng.randint(150, 350), rng.randint(150, 350)
    pen.line((x, y, x + 280, y + 40), fill=(216, 222, 224), width=34)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=80, exif=_exif(place, moment, rng.uniform(5e-5, 15e-5)))
    return out.getvalue()


def _exif(place: Property, moment: datetime, degrees_north: float) -> Image.Exif:
    """When and where, as a telephone writes it: `degrees_north` of the house."""
    exif = Image.Exif()
    inner = exif.get_ifd(ExifTags.IFD.Exif)
    inner[ExifTags.Base.DateTimeOriginal] = f"{moment.astimezone(UTC):%Y:%m:%d %H:%M:%S}"
    inner[ExifTags.Base.OffsetTimeOriginal] = "+00:00"
    if place.coordinates is not None:
        north, east = place.coordinates
        exif.get_ifd(ExifTags.IFD.GPSInfo).update({
            ExifTags.GPS.GPSLatitudeRef: "N" if north >= 0 else "S",
            ExifTags.GPS.GPSLatitude: (abs(north + degrees_north), 0.0, 0.0),
            ExifTags.GPS.GPSLongitudeRef: "E" if east >= 0 else "W",
            ExifTags.GPS.GPSLongitude: (abs(east), 0.0, 0.0),
        })  # fmt: skip
    return exif
