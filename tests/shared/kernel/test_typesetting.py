"""What the printed pages' fonts cannot show is put in words or left out: no reader should meet an empty box."""

import io
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from pypdf.generic import ContentStream

from shared.typesetting import pdf_of, printable

TEMPLATE = """#let d = json(bytes(sys.inputs.note))
#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"))
#d.text #text(weight: "bold", d.text)
"""


def printed(folder: Path, text: str) -> bytes:
    template = folder / "note.typ"
    template.write_text(TEMPLATE, encoding="utf-8")
    return pdf_of(template, {"text": text}, name="note")


def boxes_in(pdf: bytes) -> int:
    """Glyphs number 0, which is what a font draws for a character that it does not have."""
    reader, found = PdfReader(io.BytesIO(pdf)), 0
    for page in reader.pages:
        for operands, operator in ContentStream(page.get_contents(), reader).operations:
            if operator in (b"Tj", b"TJ"):
                parts = operands[0] if operator == b"TJ" else operands
                for part in parts:
                    raw = getattr(part, "original_bytes", b"")
                    found += sum(raw[i : i + 2] == b"\0\0" for i in range(0, len(raw), 2))
    return found


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Beware 🐕!", "Beware [dog]!"),
        ("👍🏽 ok", "[thumbs up sign] ok"),
        ("❤️ roses", "❤ roses"),
        ("👨‍👩‍👧 home", "[man][woman][girl] home"),
        ("1️⃣ first", "1 first"),
        ("山 gate", "? gate"),
        ("a\x00b\x07c\nd", "abc\nd"),
        ("Ñandú – ½ × 3 ✓ → «ok» Привет", "Ñandú – ½ × 3 ✓ → «ok» Привет"),
    ],
)
def test_in_words(text: str, words: str) -> None:
    assert printable(text) == words


def test_a_page_without_boxes(tmp_path: Path) -> None:
    """The dog at the gate is on the sheet as a word."""
    pdf = printed(tmp_path, "Beware 🐕 山, gate 1️⃣ ✓ Ñ")
    assert boxes_in(pdf) == 0
    assert "Beware [dog]" in PdfReader(io.BytesIO(pdf)).pages[0].extract_text()


@settings(max_examples=15, deadline=None)
@given(text=st.text(min_size=1, max_size=400))
def test_no_text_gives_boxes(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    """Whatever people write."""
    assert boxes_in(printed(tmp_path_factory.mktemp("note"), text)) == 0
