"""The condition notice and the record of its acknowledgement as PDF."""

import io
from pathlib import Path

from django.utils import translation
from django.utils.translation import gettext as _
from PIL import Image

from jobs.walkthroughs.models import Acknowledgement, OfflineAnswer, Photo
from jobs.walkthroughs.notice_words import NoticeWords
from jobs.walkthroughs.record_words import record_words
from shared.kept_files import file_read
from shared.typesetting import pdf_of

TEMPLATES = Path(__file__).parent / "templates" / "walkthroughs"
PRINTED_SIDE = 1_000  # pixels: sharp enough at half the width of a page


def notice_pdf(words: NoticeWords, language: str) -> bytes:
    """Print a notice."""
    pictures = {
        f"{number}.jpg": _smaller(file_read(photo.file, photo.digest))
        for number, (photo, _text) in enumerate(words.pictures)
    }
    data = {
        "lang": language,
        "title": words.title,
        "place": words.place,
        "sections": [
            [words.found_title, words.found],
            [words.chalk_title, words.chalk],
            [words.removal_title, words.removal],
        ],
        "pictures_title": words.pictures_title,
        "pictures": [[name, text] for name, (_photo, text) in zip(pictures, words.pictures, strict=True)],
        "footer": words.footer,
    }
    return pdf_of(TEMPLATES / "notice.typ", data, name="notice", pictures=pictures)


def seen_pdf(title: str, lines: list[str], photos: list[Photo], language: str) -> bytes:
    """Print a notice line by line as a phone without a signal showed it, with those of its pictures that arrived."""
    pictures = {f"{number}.jpg": _smaller(file_read(photo.file, photo.digest)) for number, photo in enumerate(photos)}
    with translation.override(language):
        footer = _("As a phone without a signal showed it")
    data = {
        "lang": language,
        "title": title,
        "place": "",
        "sections": [["", lines]],
        "pictures_title": "",
        "pictures": [[name, ""] for name in pictures],
        "footer": footer,
    }
    return pdf_of(TEMPLATES / "notice.typ", data, name="notice", pictures=pictures)


def record_pdf(row: Acknowledgement, offline: OfflineAnswer | None = None) -> bytes:
    """Print who acknowledged what: statement, name and time, the notice's text as it was seen, and the digests of its
    text, its PDF and its pictures. In the notice's language; the row needs not be stored yet."""
    language = row.shown.language
    with translation.override(language):
        data = {"lang": language, **record_words(row, offline)}
    return pdf_of(TEMPLATES / "acknowledgement.typ", data, name="record")


def _smaller(jpeg: bytes) -> bytes:
    out = io.BytesIO()
    with Image.open(io.BytesIO(jpeg)) as image:
        image.thumbnail((PRINTED_SIDE, PRINTED_SIDE))
        image.save(out, "JPEG", quality=80)
    return out.getvalue()
