"""Translations are compiled without gettext's tools, and only when there is something new."""

import gettext
import os
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from shared.web import texts

PO = """msgid ""
msgstr ""
"Content-Type: text/plain; charset=UTF-8\\n"
"Plural-Forms: nplurals=2; plural=(n != 1);\\n"

msgid "wall"
msgstr "muro"

msgctxt "time of day"
msgid "am"
msgstr "a. m."

msgid "%(count)s job"
msgid_plural "%(count)s jobs"
msgstr[0] "%(count)s trabajo"
msgstr[1] "%(count)s trabajos"
"""


@pytest.fixture
def source(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "es" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    (folder / "django.po").write_text(PO, encoding="utf-8")
    monkeypatch.setattr(texts, "LOCALE", tmp_path)
    return folder / "django.po"


def test_compiled_texts_can_be_read(source: Path) -> None:
    """Plain texts, contexts and plural forms arrive; everybody may read the file."""
    assert texts.compile_all() == [source.with_suffix(".mo")]
    found = gettext.translation("django", texts.LOCALE, ["es"])
    assert found.gettext("wall") == "muro"
    assert found.pgettext("time of day", "am") == "a. m."
    assert found.ngettext("%(count)s job", "%(count)s jobs", 2) == "%(count)s trabajos"
    assert source.with_suffix(".mo").stat().st_mode & 0o777 == 0o644
    assert [path.suffix for path in source.parent.iterdir() if path.suffix == ".part"] == []


def test_only_what_changed_is_compiled(source: Path) -> None:
    """A second call does nothing; a newer catalogue is compiled again."""
    texts.compile_all()
    assert texts.compile_all() == []
    later = source.with_suffix(".mo").stat().st_mtime + 10
    os.utime(source, (later, later))
    assert texts.compile_all() == [source.with_suffix(".mo")]


def test_the_command_says_what_it_did(source: Path) -> None:
    """One line for each catalogue."""
    out = StringIO()
    call_command("compile_texts", stdout=out)
    assert out.getvalue() == "compiled django.mo of es\n"
