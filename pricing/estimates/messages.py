"""Messages about a sent estimate. They are about work that was asked for, so they need no consent beforehand; whoever
opted out of messages about work, or of everything, gets none, and a nudge also heeds an opt-out of reminders.

Checked on 2026-11-25 against 15 USC 7702(17) (transactional or relationship messages; from memory) and read narrowly:
a reminder that an estimate ends is treated like an offer. Not legal advice.
"""

from datetime import datetime, timedelta
from typing import Any

from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from pricing.estimates.choices import EstimateState, MessageKind
from pricing.estimates.jobs_behind import jobs_behind
from pricing.estimates.links import estimate_link
from pricing.estimates.models import EstimateMessage, SentEstimate
from shared import clock
from shared.company.models import Company
from shared.company.selectors import company_get
from shared.outbox.domain.sms import in_cheap_letters_around
from shared.outbox.models import Channel, Message
from shared.outbox.services import message_queue
from shared.web.words import phone_words

PURPOSE = "estimate"
DAY = timedelta(days=1)


def message_write(*, sent: SentEstimate, kind: str, channel: str, now: datetime) -> Message:
    """Queue one message about a sent estimate in the caller's transaction; each kind once. Raises Refused where it may
    not go that way."""
    estimate, company = sent.estimate, company_get()
    to = jobs_behind().recipient(job_ref=estimate.job_ref, channel=channel, is_nudge=kind == MessageKind.EXPIRING)
    context = _context(sent, company, to.name, to.language)
    message, is_new = message_queue(
        dedupe_key=f"estimate:{sent.pk}:{kind}",
        channel=channel,
        purpose=PURPOSE,
        recipient=to.address,
        recipient_name=to.name,
        subject=_render(kind, "subject", to.language, context)[:200] if channel == Channel.EMAIL else "",
        body=_render(kind, channel, to.language, context),
        language=to.language,
        not_after=clock.midnight(sent.valid_until + DAY, company.timezone) if kind != MessageKind.ACCEPTED else None,
        quiet_zone=to.zone if channel == Channel.TEXT or kind == MessageKind.EXPIRING else "",
        now=now,
    )
    if is_new:
        EstimateMessage.objects.create(sent=sent, kind=kind, message=message)
    return message


def _context(sent: SentEstimate, company: Company, name: str, language: str) -> dict[str, Any]:
    return {
        "company_name": company.name,
        "postal_address": company.postal_address,
        "phone": phone_words(company.phone_e164, company.country) if company.phone_e164 else "",
        "customer_name": name,
        "place": sent.estimate.place,
        "valid_until": sent.valid_until,
        "link": estimate_link(sent.pk),
        "language": language,
    }


def _render(kind: str, part: str, language: str, context: dict[str, Any]) -> str:
    """A template of the language; a subject and a text message are one line."""
    known = language if language in ("en", "es") else "en"
    with translation.override(known):
        text = render_to_string(f"estimates/messages/{known}/{kind}_{part}.txt", context)
    lines = [line.rstrip() for line in text.strip().splitlines()]
    if part == Channel.TEXT:
        return in_cheap_letters_around(" ".join(lines), kept=(context["company_name"], context["place"]))
    return "\n".join(lines) + "\n" if part == Channel.EMAIL else " ".join(lines)


def reason_to_drop(message: Message) -> str:
    """Why a queued message about an estimate must not leave any more as far as this room knows; empty where it may."""
    row = EstimateMessage.objects.select_related("sent__estimate").filter(message=message).first()
    if row is None:
        return _("It belongs to no estimate any more.")
    estimate = row.sent.estimate
    if row.kind == MessageKind.ACCEPTED:
        return ""
    is_current = estimate.state == EstimateState.SENT and estimate.revision == row.sent.revision
    return "" if is_current else _("The estimate was answered or changed meanwhile.")
