"""PDF by typst. Text goes in as data, never as source, so that nobody's words are markup; only typst's own fonts are
used, so that a page looks the same on every machine."""

import json
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import typst


def pdf_of(template: Path, data: Mapping[str, Any], *, name: str, pictures: Mapping[str, bytes] | None = None) -> bytes:
    """Print `template`, which reads `data` as the JSON of `sys.inputs.<name>`.

    `pictures` (file name: bytes) lie beside the template, in a folder of their own, for as long as it is printed.
    """
    with TemporaryDirectory() as folder:
        root = Path(folder)
        (root / template.name).write_bytes(template.read_bytes())
        for file, content in (pictures or {}).items():
            (root / file).write_bytes(content)
        return bytes(
            typst.compile(
                root / template.name,
                root=root,
                font_paths=typst.Fonts(include_system_fonts=False),
                ignore_system_fonts=True,
                sys_inputs={name: json.dumps(data, ensure_ascii=False)},
            )
        )
