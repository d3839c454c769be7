"""Condition notices: made once and kept as shown, then acknowledged, or sent because nobody was home."""

from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from jobs.customers.selectors import service_address, why_not_there, zone_of
from jobs.walkthroughs.errors import NoticeClosed
from jobs.walkthroughs.inputs import FOLDER
from jobs.walkthroughs.links import notice_link
from jobs.walkthroughs.models import (
    Acknowledgement,
    NobodyHome,
    Notice,
    NoticePrint,
    SentHow,
    StartOverride,
    Walkthrough,
)
from jobs.walkthroughs.notice_words import notice_words, statement_words
from jobs.walkthroughs.pdf import notice_pdf, record_pdf
from jobs.walkthroughs.selectors.gate import is_to_be_shown
from jobs.walkthroughs.selectors.notices import notice_standing
from jobs.walkthroughs.selectors.removal import may_open_removal
from jobs.walkthroughs.services.removal import removal_open
from jobs.work.models import Job
from shared.company.selectors import company_get
from shared.errors import Refused
from shared.events.services import event_record
from shared.kept_files import digest_of, file_forget, file_read, file_store
from shared.outbox.domain.sms import in_cheap_letters_around
from shared.outbox.models import Message
from shared.outbox.services import message_queue

PURPOSE = "notice"
LANGUAGES = tuple(code for code, _name in settings.LANGUAGES)


def notice_make(*, walkthrough: Walkthrough, now: datetime, actor: Any = None) -> Notice:
    """Print what was found, in every language, and keep it. The same walkthrough with the same pictures gives the
    notice that is there, and so does a settled one. Raises Refused where there is nothing to show."""
    if not is_to_be_shown(walkthrough):
        raise Refused(_("Nothing was found that has to be shown."))
    known = notice_standing(walkthrough)
    if known is not None:
        return known
    pictures = [photo.digest for photo in walkthrough.photos.all()]
    prints = [_print(walkthrough, language, pictures) for language in LANGUAGES]
    try:
        return _notice_store(walkthrough, prints, now, actor)
    except BaseException:
        for row in prints:
            file_forget(row.pdf_file)
        raise


def _print(walkthrough: Walkthrough, language: str, pictures: list[str]) -> NoticePrint:
    with translation.override(language):
        words = notice_words(walkthrough)
        html = render_to_string("walkthroughs/notice_text.html", {"words": words})
        pdf = notice_pdf(words, language)
    return NoticePrint(
        language=language,
        title=words.title,
        html=html,
        html_digest=digest_of(html.encode()),
        pdf_file=file_store(FOLDER, pdf, "pdf"),
        pdf_digest=digest_of(pdf),
        picture_digests=pictures,
    )


@transaction.atomic
def _notice_store(walkthrough: Walkthrough, prints: list[NoticePrint], now: datetime, actor: Any) -> Notice:
    notice = Notice.objects.create(walkthrough=walkthrough, made_at=now, made_by=actor)
    for row in prints:
        row.notice = notice
        row.save()
    event_record(kind="notice.made", subject=walkthrough.job, actor=actor, data={"notice": notice.pk})
    return notice


def print_pdf(row: NoticePrint) -> bytes:
    """The PDF as it was made, byte for byte. Raises FileChanged where somebody changed the file."""
    return file_read(row.pdf_file, row.pdf_digest)


def notice_acknowledge(
    *,
    notice: Notice,
    language: str,
    typed_name: str,
    now: datetime,
    by_link: bool,
    wants_removal: bool = False,
    device: str = "",
    actor: Any = None,
) -> Acknowledgement:
    """The homeowner typed a name below the notice. Stored with the exact text, its digests, time and device, and with
    a printed record of it all. Who wants a price of taking the chalk off gets a job of its own opened.

    15 USC 7001(a) asks for no more form than paper has; (d) for a record that can be reproduced. Raises NoticeClosed
    where it was acknowledged already or a newer notice took its place, Refused without a name.
    """
    name = name_of(typed_name)
    _require_current(notice)
    shown = notice.prints.get(language=language if language in LANGUAGES else LANGUAGES[0])
    with translation.override(shown.language):
        statement = statement_words()
    row = Acknowledgement(
        notice=notice,
        shown=shown,
        typed_name=name,
        statement=statement,
        html_digest=shown.html_digest,
        pdf_digest=shown.pdf_digest,
        picture_digests=shown.picture_digests,
        wants_removal=wants_removal,
        by_link=by_link,
        device=device[:300],
        handed_over_by=actor,
        at=now,
    )
    record = record_pdf(row)
    row.record_digest, row.record_file = digest_of(record), file_store(FOLDER, record, "pdf")
    try:
        return _acknowledgement_store(row, actor)
    except BaseException:
        file_forget(row.record_file)
        raise


def name_of(typed: str) -> str:
    """A typed name without what does not matter. Raises Refused for none."""
    name = " ".join(typed.split())[:120]
    if not name:
        raise Refused(_("Type your name."))
    return name


@transaction.atomic
def _acknowledgement_store(row: Acknowledgement, actor: Any) -> Acknowledgement:
    _require_current(row.notice)
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as error:  # somebody else was quicker
        raise NoticeClosed(_("This notice is acknowledged already. Nothing was changed.")) from error
    acknowledgement_follow(row, actor, now=row.at)
    return row


def acknowledgement_follow(row: Acknowledgement, actor: Any, *, now: datetime, **more: Any) -> None:
    """What comes of an acknowledgement: an event, and a job of its own where the homeowner wants a price."""
    walkthrough = row.notice.walkthrough
    data = {"notice": row.notice_id, "by_link": row.by_link, "wants_removal": row.wants_removal, **more}
    event_record(kind="notice.acknowledged", subject=walkthrough.job, actor=actor, data=data)
    if row.wants_removal and may_open_removal(walkthrough):
        removal_open(walkthrough=walkthrough, now=now, actor=actor)


def record_read(row: Acknowledgement) -> bytes:
    """The printed record as it was made, byte for byte. Raises FileChanged where somebody changed the file."""
    return file_read(row.record_file, row.record_digest)


@transaction.atomic
def notice_send(
    *, notice: Notice, sent_how: str, now: datetime, note: str = "", language: str = "", actor: Any = None
) -> NobodyHome:
    """Nobody was home: the notice goes by email or text with its link, or was left on paper. Each way once.

    The message is in the customer's language, or in that of `LANGUAGES` which is asked for. Raises NoticeClosed as
    above, Refused where the customer has no such address or said no to it.
    """
    _require_current(notice)
    if sent_how not in SentHow.values:
        raise Refused(_("Say how the notice was sent."), sent_how=sent_how)
    if language and language not in LANGUAGES:
        raise Refused(_("There is no notice in this language."), language=language)
    known = notice.absences.filter(sent_how=sent_how).first()
    if known is not None:
        return known
    message = None if sent_how == SentHow.PAPER else _message(notice, sent_how, now, language)
    row = NobodyHome.objects.create(
        notice=notice, sent_how=sent_how, message=message, note=note[:200], at=now, recorded_by=actor
    )
    data = {"notice": notice.pk, "how": sent_how}
    event_record(kind="notice.nobody_home", subject=notice.walkthrough.job, actor=actor, data=data)
    return row


def _message(notice: Notice, channel: str, now: datetime, language: str) -> Message:
    place, company = notice.walkthrough.property, company_get()
    customer = place.customer
    recipient = service_address(customer=customer, channel=channel)
    language = language or customer.language
    with translation.override(language):
        words = {"firm": company.name, "street": place.street, "link": notice_link(notice.pk)}
        subject = _("What we found at %(street)s") % words
        body = (
            _("%(firm)s: please look at what we found at %(street)s before our work, and confirm it: %(link)s") % words
        )
    if channel == SentHow.TEXT:
        body = in_cheap_letters_around(body, kept=(company.name, place.street))
    message, _is_new = message_queue(
        dedupe_key=f"notice:{notice.pk}:{channel}",
        channel=channel,
        purpose=PURPOSE,
        recipient=recipient,
        recipient_name=customer.name,
        subject=subject,
        body=body + "\n",
        language=language,
        quiet_zone=zone_of(place, otherwise=company.timezone) if channel == SentHow.TEXT else "",
        now=now,
    )
    return message


def notice_guard(message: Message) -> str:
    """Why a notice must not leave any more; an empty text where it may. Asked right before it goes."""
    row = NobodyHome.objects.select_related("notice__walkthrough__property__customer").filter(message=message).first()
    if row is None:
        return _("It belongs to no notice any more.")
    customer = row.notice.walkthrough.property.customer
    try:
        _require_current(row.notice)
    except NoticeClosed as error:
        return error.message
    return why_not_there(customer=customer, channel=message.channel, recipient=message.recipient)


def _require_current(notice: Notice) -> None:
    newer = Notice.objects.filter(walkthrough__job=notice.walkthrough.job_id, pk__gt=notice.pk).exists()
    later = Walkthrough.objects.filter(job=notice.walkthrough.job_id, pk__gt=notice.walkthrough_id).exists()
    if newer or later:
        raise NoticeClosed(_("There is a newer walkthrough of this house. Ask us for its notice."))
    if Acknowledgement.objects.filter(notice=notice).exists():
        raise NoticeClosed(_("This notice is acknowledged already. Nothing was changed."))


@transaction.atomic
def start_override(*, job: Job, reason: str, now: datetime, actor: Any) -> StartOverride:
    """The owner lets a job begin without a settled notice. Raises Refused without a reason."""
    words = reason.strip()[:200]
    if not words:
        raise Refused(_("Say why, in a few words."))
    row = StartOverride.objects.create(job=job, reason=words, at=now, by=actor)
    event_record(kind="job.start_allowed", subject=job, actor=actor, reason=words)
    return row
