"""The condition notice as PDF. Its text goes to typst as data, never as source; pictures lie beside the template in a
folder of their own for as long as it is printed."""

import io
import json
import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

import typst
from PIL import Image

from jobs.walkthroughs.files import file_read
from jobs.walkthroughs.notice_words import NoticeWords

TEMPLATE = Path(__file__).parent / "templates" / "walkthroughs" / "notice.typ"
PRINTED_SIDE = 1_000  # pixels: sharp enough at half the width of a page


def notice_pdf(words: NoticeWords, language: str) -> bytes:
    """Print a notice."""
    with TemporaryDirectory() as folder:
        root = Path(folder)
        shutil.copy(TEMPLATE, root / "notice.typ")
        names = []
        for number, (photo, text) in enumerate(words.pictures):
            (root / f"{number}.jpg").write_bytes(_smaller(file_read(photo.file, photo.digest)))
            names.append([f"{number}.jpg", text])
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
            "pictures": names,
            "footer": words.footer,
        }
        return bytes(
            typst.compile(
                root / "notice.typ",
                root=root,
                font_paths=typst.Fonts(include_system_fonts=False),
                ignore_system_fonts=True,
                sys_inputs={"notice": json.dumps(data, ensure_ascii=False)},
            )
        )


def _smaller(jpeg: bytes) -> bytes:
    out = io.BytesIO()
    with Image.open(io.BytesIO(jpeg)) as image:
        image.thumbnail((PRINTED_SIDE, PRINTED_SIDE))
        image.save(out, "JPEG", quality=80)
    return out.getvalue()
