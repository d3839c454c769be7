"""The condition notice as PDF."""

import io
from pathlib import Path

from PIL import Image

from jobs.walkthroughs.notice_words import NoticeWords
from shared.kept_files import file_read
from shared.typesetting import pdf_of

TEMPLATE = Path(__file__).parent / "templates" / "walkthroughs" / "notice.typ"
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
    return pdf_of(TEMPLATE, data, name="notice", pictures=pictures)


def _smaller(jpeg: bytes) -> bytes:
    out = io.BytesIO()
    with Image.open(io.BytesIO(jpeg)) as image:
        image.thumbnail((PRINTED_SIDE, PRINTED_SIDE))
        image.save(out, "JPEG", quality=80)
    return out.getvalue()
