"""Crew leads and homeowners can read every text in Spanish."""

import io
import re
from collections.abc import Sequence
from pathlib import Path

import pytest
from babel.messages.extract import extract_python
from babel.messages.pofile import read_po
from django.utils.translation.template import templatize

ROOT = Path(__file__).resolve().parents[3]
CATALOGUE = ROOT / "shared" / "web" / "locale" / "es" / "LC_MESSAGES" / "django.po"
KEYWORDS = ("_", "gettext", "gettext_lazy", "gettext_noop", "pgettext", "pgettext_lazy", "ngettext", "ngettext_lazy")
TEMPLATES = {
    str(path).rpartition("/templates/")[2]: path
    for app in ("shared", "pricing", "jobs", "routing")
    for path in (ROOT / app).rglob("templates/**/*.*")
    if path.suffix in (".html", ".txt")
}
# Where both frames may be meant: pages of one's own account, and what goes wrong.
ALWAYS = {"people/sign_in.html", "people/own.html", "people/own_password.html", "people/token.html"} | {
    "web/error.html",
    "web/problem.html",
    "web/crew.html",
    "web/homeowner.html",
}
# Python beside those pages: forms, views, figures, words of the crew's route.
MODULES = (
    "shared/web/views.py",
    "shared/web/words.py",
    "shared/people/forms.py",
    "shared/people/roles.py",
    "jobs/work/choices.py",
    "routing/dispatch/cautions.py",
    "routing/dispatch/forms.py",
    "routing/dispatch/load_out.py",
    "routing/dispatch/models.py",
    "routing/dispatch/templatetags/dispatch.py",
    "routing/dispatch/views/crew.py",
    "routing/dispatch/weather_words.py",
    "routing/dispatch/words.py",
    "routing/roads/words.py",
    "routing/dispatch/instructions.py",
    "routing/dispatch/mix_notes.py",
    "routing/dispatch/reckoner.py",
    "routing/dispatch/pdf.py",
    "routing/dispatch/selectors/sheets.py",
    "routing/dispatch/selectors/work.py",
    "routing/dispatch/views/work.py",
    "jobs/mixing/choices.py",
    "jobs/mixing/mix_words.py",
    "jobs/mixing/selectors.py",
    "jobs/mixing/words.py",
    "jobs/work/met.py",
    "jobs/work/services/pouring.py",
    "jobs/walkthroughs/notice_words.py",
    "pricing/estimates/estimate_words.py",
    "pricing/estimates/forms.py",
    "pricing/estimates/services/answering.py",
    "pricing/estimates/views/homeowner.py",
    "shared/signed_links.py",
    "jobs/walkthroughs/forms.py",
    "jobs/walkthroughs/pdf.py",
    "jobs/walkthroughs/pictures.py",
    "jobs/walkthroughs/record_words.py",
    "jobs/walkthroughs/services/offline.py",
    "jobs/walkthroughs/services/photos.py",
    "jobs/walkthroughs/services/removal.py",
    "jobs/walkthroughs/views/buttons.py",
    "jobs/walkthroughs/models.py",
    "jobs/walkthroughs/selectors/gate.py",
    "jobs/walkthroughs/services/notices.py",
    "jobs/walkthroughs/services/recording.py",
    "jobs/walkthroughs/services/readings.py",
    "jobs/walkthroughs/views/crew.py",
    "jobs/walkthroughs/views/homeowner.py",
    "jobs/walkthroughs/views/access.py",
    "jobs/walkthroughs/views/files.py",
)
Text = tuple[str, str]  # context (empty: none), text


def named_in(source: str) -> set[str]:
    return set(re.findall(r"""{%\s*(?:include|extends)\s+["']([^"']+)["']""", source))


def spanish_templates() -> set[str]:
    """Templates of the crew and the homeowner, and whatever they include."""
    own = {
        name
        for name, path in TEMPLATES.items()
        if re.search(r"""{%\s*extends\s+["']web/(crew|homeowner)\.html""", path.read_text(encoding="utf-8"))
    }
    found, waiting = set(), own | ALWAYS
    while waiting:
        name = waiting.pop()
        found.add(name)
        waiting |= named_in(TEMPLATES[name].read_text(encoding="utf-8")) - found
    return found


def texts_of(source: str) -> set[Text]:
    """The texts marked for translation in Python source, with their contexts."""
    found = set()
    for _line, function, message, _comments in extract_python(io.BytesIO(source.encode()), KEYWORDS, [], {}):
        # A call with a variable in it has nothing to read here; the text is marked where it was written.
        parts = [message] if isinstance(message, str) else [part for part in message or () if part]
        if not parts:
            continue
        if "pgettext" in function:
            found.add((parts[0], parts[1]))
        else:
            found |= {("", part) for part in parts if part}
    return found


def texts_of_template(name: str) -> set[Text]:
    return texts_of(templatize(TEMPLATES[name].read_text(encoding="utf-8"), origin=name))


def catalogue() -> dict[Text, str]:
    with CATALOGUE.open("rb") as file:
        messages = read_po(file, locale="es")
    return {
        (message.context or "", text): spanish
        for message in messages
        if message.id
        for text, spanish in zip(_forms(message.id), _forms(message.string), strict=True)
    }


def _forms(text: str | Sequence[str]) -> Sequence[str]:
    """Singular and plural, or the one form that there is."""
    return [text] if isinstance(text, str) else text


@pytest.mark.parametrize("name", sorted(spanish_templates()))
def test_every_text_of_the_page_has_a_spanish_one(name: str) -> None:
    """A text without translation would stand in English on a Spanish page."""
    known = catalogue()
    missing = sorted(text for text in texts_of_template(name) if not known.get(text))
    assert not missing, f"add to {CATALOGUE.relative_to(ROOT)}: {missing}"


@pytest.mark.parametrize("name", MODULES)
def test_every_text_of_the_module_has_a_spanish_one(name: str) -> None:
    """Forms and error pages speak through Python."""
    known = catalogue()
    missing = sorted(text for text in texts_of((ROOT / name).read_text(encoding="utf-8")) if not known.get(text))
    assert not missing, f"add to {CATALOGUE.relative_to(ROOT)}: {missing}"


def test_placeholders_survive_the_translation() -> None:
    """A lost or misspelt %(name)s would break the page or drop a figure."""
    holder = re.compile(r"%\(\w+\)[sd]")
    for (_context, text), spanish in catalogue().items():
        assert sorted(holder.findall(text)) == sorted(holder.findall(spanish)), text


def test_the_extraction_finds_what_is_marked() -> None:
    """Without finding anything the tests above would always pass."""
    assert ("", "Sign in") in texts_of_template("people/sign_in.html")
    assert ("time of day", "am") in texts_of((ROOT / "shared/web/words.py").read_text(encoding="utf-8"))
    assert len(spanish_templates()) >= 12
