"""A walkthrough and its pictures: written down once, whatever is sent, and never changed."""

import io
import uuid
import zipfile
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pillow_heif
import pytest
from django.conf import settings
from django.db import DatabaseError, connection, transaction
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from jobs.walkthroughs.domain import STEPS, wall_reading
from jobs.walkthroughs.errors import AlreadyRecorded, PictureRefused, PictureTooLarge
from jobs.walkthroughs.inputs import SIDES, FindingInput, LeftOutInput, WalkthroughInput, WallInput
from jobs.walkthroughs.models import ChalkReading, Photo, Walkthrough
from jobs.walkthroughs.pictures import LONGEST_SIDE, picture_make
from jobs.walkthroughs.selectors import start_gate
from jobs.walkthroughs.services import notice_acknowledge, photo_add, walkthrough_record
from shared.errors import Refused
from shared.kept_files import FileChanged, file_read
from tests import factories

NOW = factories.MOMENT
DAY = NOW.date()


def files() -> list[Path]:
    return [path for path in (Path(settings.MEDIA_ROOT) / "walkthroughs").rglob("*") if path.is_file()]


# --- the reading of a wall ---


@given(st.lists(st.sampled_from(STEPS), min_size=3, max_size=9))
def test_the_median_is_a_step_of_the_scale(spots: list[Decimal]) -> None:
    """On the scale, at least half of the spots not above it and half not below the step before it."""
    reading = wall_reading(spots)
    assert reading in STEPS
    assert 2 * sum(spot <= reading for spot in spots) >= len(spots)
    assert 2 * sum(spot >= reading - Decimal("0.5") for spot in spots) >= len(spots)


@pytest.mark.parametrize(
    ("spots", "reading"), [(("1", "4", "2"), "2"), (("1", "1", "1.5", "2"), "1.5"), (("0", "0", "5"), "0")]
)
def test_medians(spots: tuple[str, ...], reading: str) -> None:
    """Worked by hand; a quarter goes up to the next half step."""
    assert wall_reading([Decimal(spot) for spot in spots]) == Decimal(reading)


# --- walkthroughs ---


@pytest.mark.django_db
def test_the_same_entry_twice_is_one(crew_lead: Any) -> None:
    """One row, one reading; the same key with other content is refused and changes nothing."""
    key, job = uuid.uuid4(), factories.make_job()
    first = factories.make_walkthrough(job=job, key=key, actor=crew_lead)
    assert factories.make_walkthrough(job=job, key=key, actor=crew_lead) == first
    with pytest.raises(AlreadyRecorded, match="a correction is a new one"):
        factories.make_walkthrough(job=job, key=key, chalk=1)
    assert (Walkthrough.objects.count(), ChalkReading.objects.count()) == (1, 1)
    reading = ChalkReading.objects.get()
    assert (reading.reading, reading.read_by) == (Decimal(3), crew_lead)


@pytest.mark.django_db
def test_an_edit_after_acknowledgement_says_why() -> None:
    """Named by who acknowledged it; SQL cannot change it either."""
    key, job = uuid.uuid4(), factories.make_job()
    factories.make_wall(property=job.property, name="north wall")
    factories.make_wall(property=job.property, name="south wall")
    notice = factories.make_notice(walkthrough=factories.make_walkthrough(job=job, key=key))
    notice_acknowledge(notice=notice, language="en", typed_name="Ann Sample", now=NOW, by_link=False)
    with pytest.raises(AlreadyRecorded, match="Ann Sample acknowledged this walkthrough"):
        factories.make_walkthrough(job=job, key=key, chalk=0)
    for table in ("chalkreading", "wallfinding", "wallleftout", "acknowledgement", "noticeprint", "walkthrough"):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f"UPDATE walkthroughs_{table} SET id = id")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("over", "words"),
    [
        ({"walls": ()}, "one wall"),
        ({"walls": (WallInput(spots=(Decimal(1),) * 2, name="x"),)}, "three spots"),
        ({"walls": (WallInput(spots=(Decimal("0.3"),) * 3, name="x"),)}, "half steps"),
        ({"findings": (FindingInput(kind="outlet", wall_id=999_999),)}, "another house"),
        ({"left_out": (LeftOutInput("no_access", name="x"),) * 2}, "twice"),
        ({"left_out": (LeftOutInput("too tired", name="x"),)}, "no such reason"),
        ({"front_degrees": 360}, "compass"),
        ({"findings": (FindingInput(kind="other"),)}, "few words"),
        ({"findings": (FindingInput(kind="ghost"),)}, "no such kind"),
        ({"video_url": "http://example.com/v"}, "https"),
        ({"video_url": "https://user:pw@example.com/v"}, "name or password"),
        ({"video_url": "javascript:alert(1)"}, "https"),
        ({"photo_count": 25}, "enough"),
    ],
)
def test_what_cannot_be_is_refused_whole(over: dict[str, Any], words: str) -> None:
    """In words, and nothing is stored."""
    with pytest.raises(Refused, match=words):
        factories.make_walkthrough(**over)
    assert not Walkthrough.objects.exists()
    assert not ChalkReading.objects.exists()


def spots(*names: str, chalk: int = 2) -> tuple[WallInput, ...]:
    return tuple(WallInput((Decimal(chalk),) * 3, name=name) for name in names)


@pytest.mark.django_db
def test_a_house_without_walls() -> None:
    """Its four sides are taken down with their readings, each facing as the street side says, and the shutters."""
    job = factories.make_job(property=factories.make_property(storeys=2))
    entry = WalkthroughInput(
        key=uuid.uuid4(),
        walked_on=DAY,
        walls=spots("front wall", "right wall", "Shutters"),
        left_out=(LeftOutInput("no_access", name="back wall"), LeftOutInput("no_chalk", name="left wall")),
        findings=(FindingInput(kind="outlet", name="back wall"),),
        front_degrees=90,
    )
    row = walkthrough_record(job=job, entry=entry, now=NOW)
    walls = {wall.name: (wall.kind, wall.facing_degrees, wall.storeys) for wall in job.property.walls.all()}
    assert walls == {
        "front wall": ("face", 90, 2), "right wall": ("face", 0, 2), "back wall": ("face", 270, 2),
        "left wall": ("face", 180, 2), "Shutters": ("shutters", None, 2),
    }  # fmt: skip
    assert job.property.front_degrees == 90
    assert {found.reading.reading for found in row.wall_findings.all()} == {2}
    assert [(out.wall.name, out.reason) for out in row.left_out.all()] == [
        ("back wall", "no_access"), ("left wall", "no_chalk"),
    ]  # fmt: skip
    assert row.findings.get().wall.name == "back wall"
    assert walkthrough_record(job=job, entry=entry, now=NOW) == row


@pytest.mark.django_db
def test_what_the_office_wrote_of_the_street_side_stays() -> None:
    """The crew's compass does not turn a house whose front is known."""
    place = factories.make_property(front_degrees=180)
    factories.make_walkthrough(
        job=factories.make_job(property=place), front_degrees=90, walls=spots(*SIDES), left_out=()
    )
    place.refresh_from_db()
    assert place.front_degrees == 180
    assert place.walls.get(name="left wall").facing_degrees == 270


@pytest.mark.django_db
def test_no_wall_is_forgotten() -> None:
    """Each wall is tested or left out with a reason, otherwise nothing is stored; brick needs neither."""
    place = factories.make_property()
    north, south = (factories.make_wall(property=place, name=name) for name in ("north wall", "south wall"))
    factories.make_wall(property=place, name="chimney", material="brick")
    job = factories.make_job(property=place)
    tested = (WallInput((Decimal(0),) * 3, wall_id=north.pk),)
    with pytest.raises(Refused, match=r"say why not: south wall\.$"):
        factories.make_walkthrough(job=job, walls=tested, left_out=())
    assert start_gate(job_id=job.pk).state == "missing"
    factories.make_walkthrough(job=job, walls=tested, left_out=(LeftOutInput("no_access", wall_id=south.pk),))
    assert start_gate(job_id=job.pk).state == "nothing"


# --- pictures ---


def add(data: bytes, walkthrough: Any = None, key: Any = None) -> Photo:
    row = walkthrough or factories.make_walkthrough()
    return photo_add(walkthrough=row, key=key or uuid.uuid4(), data=data, now=NOW)


def exif_of(when: str = "2026:05:30 09:15:00", offset: str = "") -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = 6  # turned: the right side of the picture is up
    inner = exif.get_ifd(0x8769)
    inner[0x9003] = when
    if offset:
        inner[0x9011] = offset
    exif.get_ifd(0x8825).update({1: "N", 2: (40.0, 30.0, 0.0), 3: "W", 4: (82.0, 15.0, 0.0)})
    return exif


@pytest.mark.django_db
def test_a_picture_is_made_anew() -> None:
    """Upright, bounded, a JPEG without metadata; place and time are kept beside it."""
    photo = add(factories.make_picture(size=(3000, 1500), exif=exif_of()))
    data = file_read(photo.file, photo.digest)
    with Image.open(io.BytesIO(data)) as image:
        assert (image.format, image.size, dict(image.getexif())) == ("JPEG", (1000, 2000), {})
    assert (photo.width_px, photo.height_px, photo.size_bytes) == (1000, 2000, len(data))
    assert photo.taken_at == datetime(2026, 5, 30, 13, 15, tzinfo=UTC)  # 9:15 in New York
    assert (photo.latitude, photo.longitude) == (40.5, -82.25)
    assert b"2026:05:30" not in data


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_four_kinds(kind: str) -> None:
    """Whatever a telephone saves becomes a JPEG."""
    if kind == "HEIF":
        out = io.BytesIO()
        pillow_heif.from_pillow(Image.new("RGB", (640, 480), "red")).save(out)
        data = out.getvalue()
    else:
        data = factories.make_picture(kind=kind)
    picture = picture_make(data, "America/New_York")
    assert (picture.width_px, picture.height_px, picture.content[:3]) == (640, 480, b"\xff\xd8\xff")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_each_kind_is_turned_once(kind: str) -> None:
    """A camera that was held upright (orientation 6): what lay at the top left is at the top right, and not further."""
    image = Image.new("RGB", (640, 480), "white")
    image.paste("red", (0, 0, 320, 240))
    exif, out = Image.Exif(), io.BytesIO()
    exif[0x0112] = 6
    if kind == "HEIF":
        pillow_heif.from_pillow(image).save(out, exif=exif.tobytes())
    else:
        image.save(out, kind, exif=exif)
    with Image.open(io.BytesIO(picture_make(out.getvalue(), "UTC").content)) as upright:
        red = [at for at in ((120, 160), (360, 160), (120, 480), (360, 480)) if upright.getpixel(at)[1] < 100]
        assert (upright.size, red) == ((480, 640), [(360, 160)])


def test_an_offset_in_the_file_counts() -> None:
    """The zone that the camera wrote is used before the company's."""
    picture = picture_make(factories.make_picture(exif=exif_of(offset="+02:00")), "America/New_York")
    assert picture.taken_at == datetime(2026, 5, 30, 7, 15, tzinfo=UTC)


def zipped() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("a.jpg", b"x" * 1000)
    return out.getvalue()


def png_header(width: int, height: int) -> bytes:
    """A PNG that says it is this large; its data is never reached."""
    import struct
    import zlib

    head = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = b"IDAT" + zlib.compress(b"\0" * 1000)
    parts = [struct.pack(">I", len(part) - 4) + part + struct.pack(">I", zlib.crc32(part)) for part in (head, body)]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


ATTACKS = {
    "zip": (zipped(), "no picture"),
    "svg": (b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>', "no picture"),
    "html": (b"<html><script>alert(1)</script></html>", "no picture"),
    "gif": (b"GIF89a" + b"\0" * 100, "no picture"),
    "empty": (b"", "no picture"),
    "cut": (factories.make_picture()[:500], "broken"),
    "only a head": (b"\xff\xd8\xff" + b"\0" * 500, "broken"),
    "broken heic": (b"\0\0\0\x18ftypheic" + b"\0" * 100, "broken"),
    "60,000 x 60,000": (png_header(60_000, 60_000), "more pixels"),
    "20,000 x 100": (png_header(20_000, 100), "more pixels"),
    "9,000 x 9,000": (png_header(9_000, 9_000), "more pixels"),
}


@pytest.mark.django_db
@pytest.mark.parametrize("name", ATTACKS)
def test_attacks_are_refused(name: str) -> None:
    """In words; no row and no file is left."""
    data, words = ATTACKS[name]
    before = files()
    with pytest.raises(PictureRefused, match=words):
        add(data)
    assert files() == before
    assert not Photo.objects.exists()


@pytest.mark.django_db
def test_too_many_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Told by the length alone, before anything looks inside."""
    monkeypatch.setattr("jobs.walkthroughs.pictures.kind_of", lambda data: pytest.fail("looked inside"))
    with pytest.raises(PictureTooLarge, match="20 MB"):
        add(b"\xff\xd8\xff" + b"\0" * (20 * 1024 * 1024))


@given(st.binary(max_size=300), st.sampled_from([b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\0\0\0\0WEBP"]))
def test_any_bytes_are_a_picture_or_refused(tail: bytes, head: bytes) -> None:
    """No decoder's own error gets out."""
    with pytest.raises(PictureRefused):
        picture_make(head + tail, "UTC")


@pytest.mark.django_db
def test_pictures_once() -> None:
    """The same bytes are one picture, under either key; one key with other bytes is refused."""
    walkthrough, key, data = factories.make_walkthrough(), uuid.uuid4(), factories.make_picture()
    first = add(data, walkthrough, key)
    assert add(data, walkthrough, key) == first
    assert add(data, walkthrough) == first
    before = len(files())
    with pytest.raises(AlreadyRecorded):
        add(factories.make_picture(size=(100, 100)), walkthrough, key)
    assert (Photo.objects.count(), len(files())) == (1, before)


@pytest.mark.django_db
def test_a_picture_of_a_wall() -> None:
    """It keeps which wall it shows; that of another house is refused and leaves no file."""
    walkthrough, before = factories.make_walkthrough(), files()
    wall = walkthrough.property.walls.get()
    fields = {"walkthrough": walkthrough, "now": NOW, "data": factories.make_picture()}
    with pytest.raises(Refused, match="another house"):
        photo_add(key=uuid.uuid4(), wall_id=factories.make_wall().pk, **fields)
    assert files() == before
    assert photo_add(key=uuid.uuid4(), wall_id=wall.pk, **fields).wall == wall


@pytest.mark.django_db
def test_not_more_than_twenty_four(monkeypatch: pytest.MonkeyPatch) -> None:
    """The one too many leaves no file behind."""
    monkeypatch.setattr("jobs.walkthroughs.services.photos.MOST_PHOTOS", 1)
    walkthrough = factories.make_walkthrough()
    add(factories.make_picture(), walkthrough)
    before = len(files())
    with pytest.raises(Refused, match="enough"):
        add(factories.make_picture(size=(100, 100)), walkthrough)
    assert len(files()) == before


@pytest.mark.django_db
def test_a_changed_file_is_noticed() -> None:
    """A picture that somebody swapped on the disk is not served."""
    photo = add(factories.make_picture())
    path = Path(settings.MEDIA_ROOT) / photo.file
    path.write_bytes(path.read_bytes() + b"x")
    with pytest.raises(FileChanged):
        file_read(photo.file, photo.digest)


def test_the_bound() -> None:
    """No side is longer than the bound."""
    picture = picture_make(factories.make_picture(size=(2500, 900)), "UTC")
    assert max(picture.width_px, picture.height_px) == LONGEST_SIDE
