"""PDF by typst. Text goes in as data, never as source, so that nobody's words are markup; only typst's own fonts are
used, so that a page looks the same on every machine."""

import json
import unicodedata
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import typst

# Code points that the two fonts of our templates both print, Libertinus Serif or DejaVu Sans Mono as typst brings them:
# runs of eleven and more, read once from the fonts' own tables, unassigned code points within a run counted in.
SHOWN = (
    (0x0020, 0x034E), (0x0350, 0x036F), (0x0374, 0x03CE), (0x03D0, 0x03E1), (0x03F0, 0x045F), (0x0490, 0x04C4),
    (0x04CF, 0x04F9), (0x0531, 0x055F), (0x0561, 0x0587), (0x05B0, 0x05C3), (0x05D0, 0x05EA), (0x0621, 0x063A),
    (0x0640, 0x0655), (0x0660, 0x066D), (0x0EAD, 0x0EB9), (0x10D0, 0x10FC), (0x1D30, 0x1D3C), (0x1D3E, 0x1D5F),
    (0x1D9B, 0x1DB7), (0x1E00, 0x1E9B), (0x1E9E, 0x1EF9), (0x1F00, 0x2027), (0x2070, 0x20B5), (0x2153, 0x2184),
    (0x2190, 0x2220), (0x2223, 0x222D), (0x2241, 0x226B), (0x226D, 0x228B), (0x228D, 0x22A5), (0x22DA, 0x22E9),
    (0x2308, 0x2315), (0x2335, 0x237A), (0x239B, 0x23AE), (0x2460, 0x2473), (0x24FF, 0x262F), (0x2638, 0x268B),
    (0x2690, 0x269C), (0x270C, 0x2727), (0x2729, 0x274B), (0x2761, 0x277F), (0x2798, 0x27AF), (0x27B1, 0x27BE),
    (0x2C60, 0x2C70), (0xA708, 0xA716), (0xA71B, 0xA727), (0xFB29, 0xFB4E), (0xFB52, 0xFB81), (0xFB8A, 0xFB95),
    (0xFE70, 0xFEFF),
)  # fmt: skip
FIRSTS = [first for first, _last in SHOWN]
KEEP = "\n\t"
UNKNOWN = "?"
SILENT = {"Cc", "Cf", "Mn", "Me"}  # joiners, variation selectors and the like: nothing of their own to print
SKIN_TONES = range(0x1F3FB, 0x1F400)


def printable(text: str) -> str:
    """The text with what the fonts cannot show put in words: a picture character by its Unicode name in brackets, any
    other as a question mark; joiners, selectors and control characters are left out."""
    return "".join(map(_shown, text))


def unprinted(text: str) -> list[str]:
    """The characters that `printable` leaves as question marks, each once, as Unicode writes their code points."""
    return [f"U+{ord(each):04X}" for each in dict.fromkeys(text) if each != UNKNOWN and _shown(each) == UNKNOWN]


def _shown(character: str) -> str:
    point = ord(character)
    at = bisect_right(FIRSTS, point) - 1
    has_glyph = at >= 0 and point <= SHOWN[at][1]
    category = unicodedata.category(character)
    if character in KEEP or has_glyph and category not in ("Cc", "Cf", "Cn", "Co"):
        return character
    if category in SILENT or point in SKIN_TONES:
        return ""
    if category == "So":
        return f"[{unicodedata.name(character, 'picture').lower()}]"
    return UNKNOWN


def _printable_all(data: Any) -> Any:
    """Every text in what a template reads."""
    if isinstance(data, str):
        return printable(data)
    if isinstance(data, Mapping):
        return {key: _printable_all(value) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return [_printable_all(value) for value in data]
    return data


def pdf_of(
    template: Path,
    data: Mapping[str, Any],
    *,
    name: str,
    parts: Sequence[Path] = (),
    pictures: Mapping[str, bytes] | None = None,
) -> bytes:
    """Print `template`, which reads `data` as the JSON of `sys.inputs.<name>`.

    `parts` that it imports and `pictures` (file name: bytes) lie beside it, in a folder of their own, for as long as it
    is printed.
    """
    with TemporaryDirectory() as folder:
        root = Path(folder)
        for source in (template, *parts):
            (root / source.name).write_bytes(source.read_bytes())
        for file, content in (pictures or {}).items():
            (root / file).write_bytes(content)
        return bytes(
            typst.compile(
                root / template.name,
                root=root,
                font_paths=typst.Fonts(include_system_fonts=False),
                ignore_system_fonts=True,
                sys_inputs={name: json.dumps(_printable_all(data), ensure_ascii=False)},
            )
        )
