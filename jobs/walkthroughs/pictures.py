"""A picture as it came from a telephone, made anew: its kind told by its content, its size bounded before anything is
decoded, turned upright, without metadata. What cannot be read is refused in words and nothing of it is kept."""

import io
import warnings
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pillow_heif
from django.utils.translation import gettext as _
from PIL import ExifTags, Image, ImageOps

from jobs.walkthroughs.errors import PictureRefused, PictureTooLarge

MOST_BYTES = 20 * 1024 * 1024
MOST_PIXELS = 52_000_000  # the largest sensors of telephones as they save by default: 8192 x 6144
MOST_SIDE = 16_384
LONGEST_SIDE = 2_000
QUALITY = 85
HEIC_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")

pillow_heif.register_heif_opener()


@dataclass(frozen=True, slots=True)
class Picture:
    """The new JPEG, and what the old file said about when and where it was taken."""

    content: bytes
    width_px: int
    height_px: int
    taken_at: datetime | None
    latitude: float | None
    longitude: float | None


def require_size(size_bytes: int) -> None:
    """Raises PictureTooLarge for more bytes than a picture may have."""
    if size_bytes > MOST_BYTES:
        raise PictureTooLarge(_("The picture is larger than 20 MB. Take it anew in a smaller size."))


def kind_of(data: bytes) -> str:
    """JPEG, PNG, WEBP or HEIF, told by the first bytes; the file's name counts for nothing. Raises PictureRefused."""
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    if data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS:
        return "HEIF"
    raise PictureRefused(_("This is no picture that we take: JPEG, PNG, WebP or HEIC."))


def picture_make(data: bytes, zone: str) -> Picture:
    """The picture in `data`, bounded and upright. Times without a zone are read as of `zone` (IANA).

    Raises PictureTooLarge and PictureRefused.
    """
    require_size(len(data))
    kind = kind_of(data)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            warnings.simplefilter("ignore", UserWarning)
            return _make(data, kind, zone)
    except PictureRefused:
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many_pixels() from error
    except Exception as error:  # decoders fail in many ways on broken files
        raise PictureRefused(_("This picture is broken and cannot be read.")) from error


def _make(data: bytes, kind: str, zone: str) -> Picture:
    with Image.open(io.BytesIO(data), formats=[kind]) as image:
        _require_pixels(image.size)
        exif = image.getexif()
        latitude, longitude = _place(exif)
        image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # JPEG only: decodes no more than is needed
        small = _bounded(image)
    out = io.BytesIO()
    small.save(out, "JPEG", quality=QUALITY, optimize=True)
    return Picture(out.getvalue(), small.width, small.height, _taken_at(exif, zone), latitude, longitude)


def _require_pixels(size: tuple[int, int]) -> None:
    width, height = size
    if max(width, height) > MOST_SIDE or width * height > MOST_PIXELS:
        raise _too_many_pixels()


def _too_many_pixels() -> PictureRefused:
    return PictureRefused(_("The picture has more pixels than we take. Take it anew in a smaller size."))


def _bounded(image: Image.Image) -> Image.Image:
    image.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    upright = ImageOps.exif_transpose(image)
    if upright.mode in ("RGBA", "LA", "PA", "P"):
        above = upright.convert("RGBA")
        upright = Image.new("RGBA", above.size, "white")
        upright.alpha_composite(above)
    plain = Image.new("RGB", upright.size)  # a new picture: nothing of the old file's metadata comes along
    plain.paste(upright.convert("RGB"))
    return plain


def _taken_at(exif: Image.Exif, zone: str) -> datetime | None:
    inner = exif.get_ifd(ExifTags.IFD.Exif)
    written = str(inner.get(ExifTags.Base.DateTimeOriginal, "")).strip("\x00 ")
    offset = str(inner.get(ExifTags.Base.OffsetTimeOriginal, "")).strip("\x00 ")
    for text, form in ((written + offset, "%Y:%m:%d %H:%M:%S%z"), (written, "%Y:%m:%d %H:%M:%S")):
        try:
            at = datetime.strptime(text, form)
            return (at if at.tzinfo else at.replace(tzinfo=ZoneInfo(zone))).astimezone(UTC)
        except (ValueError, OverflowError):
            continue
    return None


def _place(exif: Image.Exif) -> tuple[float | None, float | None]:
    gps = exif.get_ifd(ExifTags.IFD.GPSInfo)
    latitude = _degrees(gps.get(ExifTags.GPS.GPSLatitude), gps.get(ExifTags.GPS.GPSLatitudeRef), "S", 90)
    longitude = _degrees(gps.get(ExifTags.GPS.GPSLongitude), gps.get(ExifTags.GPS.GPSLongitudeRef), "W", 180)
    return (latitude, longitude) if latitude is not None and longitude is not None else (None, None)


def _degrees(parts: Any, ref: Any, negative: str, most: int) -> float | None:
    try:
        degrees, minutes, seconds = (float(part) for part in parts)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    value = degrees + minutes / 60 + seconds / 3600
    return (-value if ref == negative else value) if 0 <= value <= most else None
