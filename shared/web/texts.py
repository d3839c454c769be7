"""Translations: text catalogues (.po) compiled for Django by Babel, since gettext's own tools may be missing."""

from pathlib import Path
from tempfile import NamedTemporaryFile

LOCALE = Path(__file__).resolve().parent / "locale"


def compile_all() -> list[Path]:
    """Compile every catalogue that is newer than its compiled file; returns the files written.

    Several processes may do this at once: each writes a file of its own and moves it into place.
    """
    return [compile_one(source) for source in sorted(LOCALE.glob("*/LC_MESSAGES/*.po")) if is_stale(source)]


def is_stale(source: Path) -> bool:
    compiled = source.with_suffix(".mo")
    return not compiled.exists() or compiled.stat().st_mtime < source.stat().st_mtime


def compile_one(source: Path) -> Path:
    """Write the compiled file beside `source` and return its path."""
    from babel.messages.mofile import write_mo  # loaded only when there is something to compile
    from babel.messages.pofile import read_po

    with source.open("rb") as file:
        catalogue = read_po(file, locale=source.parent.parent.name, domain=source.stem)
    compiled = source.with_suffix(".mo")
    with NamedTemporaryFile(dir=compiled.parent, suffix=".part", delete=False) as scratch:
        write_mo(scratch, catalogue)
    Path(scratch.name).chmod(0o644)  # a scratch file is its owner's alone
    Path(scratch.name).replace(compiled)
    return compiled
