"""What the record of an acknowledgement says, in the language that is active."""

from html import unescape
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.html import strip_tags
from django.utils.translation import gettext as _

from jobs.walkthroughs.models import Acknowledgement
from shared.company.selectors import company_get
from shared.typesetting import unprinted


def record_words(row: Acknowledgement) -> dict[str, Any]:
    """The texts by their place on the page; lists are lines."""
    company = company_get()
    local = row.at.astimezone(ZoneInfo(company.timezone))
    how = _("through the link") if row.by_link else _("on the crew's phone")
    wish = [_("A price for taking the chalk off is wanted.")] if row.wants_removal else []
    pictures = [f"{_('Picture %(number)s') % {'number': n}}: {d}" for n, d in enumerate(row.picture_digests, start=1)]
    points = " ".join(unprinted(row.typed_name))
    lost = [_("Characters of the name that this page cannot print: %(points)s") % {"points": points}] if points else []
    return {
        "title": _("Acknowledgement of what was found"),
        "statement": [row.statement, *wish],
        "name": row.typed_name,
        "signed": f"{local:%Y-%m-%d %H:%M %Z} ({row.at:%Y-%m-%d %H:%M:%S} UTC), {how}",
        "unprinted": lost,
        "shown_title": _("The notice as it was shown, number %(number)s") % {"number": row.notice_id},
        "shown": text_lines(row.shown.html),
        "digests_title": _("Digests (SHA-256) of what was shown"),
        "digests": [f"{_('Text')}: {row.html_digest}", f"PDF: {row.pdf_digest}", *pictures],
        "footer": " · ".join(part for part in (company.name, company.postal_address) if part),
    }


def text_lines(html: str) -> list[str]:
    """The text of a notice's page, one line for each of its paragraphs and items."""
    broken = html.replace("</", "\n</")
    return [line for line in (part.strip() for part in unescape(strip_tags(broken)).splitlines()) if line]
