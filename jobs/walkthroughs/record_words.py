"""What the record of an acknowledgement says, in the language that is active."""

from datetime import UTC, datetime
from html import unescape
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.html import strip_tags
from django.utils.translation import gettext as _

from jobs.walkthroughs.models import Acknowledgement, OfflineAnswer
from shared.company.selectors import company_get
from shared.typesetting import unprinted


def record_words(row: Acknowledgement, offline: OfflineAnswer | None = None) -> dict[str, Any]:
    """The texts by their place on the page; lists are lines. `offline` says that there was no signal."""
    company = company_get()
    how = _("through the link") if row.by_link else _("on the crew's phone")
    wish = [_("A price for taking the chalk off is wanted.")] if row.wants_removal else []
    pictures = [f"{_('Picture %(number)s') % {'number': n}}: {d}" for n, d in enumerate(row.picture_digests, start=1)]
    points = " ".join(unprinted(row.typed_name))
    lost = [_("Characters of the name that this page cannot print: %(points)s") % {"points": points}] if points else []
    return {
        "title": _("Acknowledgement of what was found"),
        "statement": [row.statement, *wish],
        "name": row.typed_name,
        "signed": f"{_time_words(row.at, company.timezone)}, {how}",
        "unprinted": lost,
        "offline": _offline_lines(offline, company.timezone) if offline else [],
        "shown_title": _("The notice as the phone showed it")
        if offline
        else _("The notice as it was shown, number %(number)s") % {"number": row.notice_id},
        "shown": offline.text.split("\n") if offline else text_lines(row.shown.html),
        "digests_title": _("Digests (SHA-256) of what was shown"),
        "digests": [*_seen_digests(offline), f"{_('Text')}: {row.html_digest}", f"PDF: {row.pdf_digest}", *pictures],
        "footer": " · ".join(part for part in (company.name, company.postal_address) if part),
    }


def _time_words(at: datetime, zone: str) -> str:
    return f"{at.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M %Z} ({at.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC)"


def _offline_lines(offline: OfflineAnswer, zone: str) -> list[str]:
    """That there was no signal, when it arrived, and whether our own words of the walkthrough are the same."""
    arrived = _("Given without a signal. The time above is that of the phone; it reached us %(time)s.")
    same = _("Our text of the stored walkthrough is the same.")
    differs = _("Our text of the stored walkthrough differs from what the phone showed.")
    return [arrived % {"time": _time_words(offline.received_at, zone)}, differs if offline.differs else same]


def _seen_digests(offline: OfflineAnswer | None) -> list[str]:
    """Of the text and of the pictures as the phone had them; the kept pictures are made anew from those."""
    if offline is None:
        return []
    words = _("Picture %(number)s as the phone showed it")
    seen = [f"{words % {'number': n}}: {digest}" for n, digest in enumerate(offline.picture_digests, start=1)]
    return [f"{_('Text as the phone showed it')}: {offline.text_digest}", *seen]


def text_lines(html: str) -> list[str]:
    """The text of a notice's page, one line for each of its paragraphs and items."""
    broken = html.replace("</", "\n</")
    return [line for line in (part.strip() for part in unescape(strip_tags(broken)).splitlines()) if line]
