"""What a phone without a signal wrote down of a notice: kept as it was seen, compared with our own words, once."""

import uuid
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from jobs.walkthroughs.domain import CLOCKS_DIFFER_BY, LATE_BY
from jobs.walkthroughs.errors import AlreadyRecorded, NoticeClosed, OtherHouse, PhoneTimeRefused
from jobs.walkthroughs.inputs import FOLDER, OfflineAbsence, OfflineAcknowledgement
from jobs.walkthroughs.models import (
    Acknowledgement,
    DifferenceSettled,
    Notice,
    NoticePrint,
    OfflineAnswer,
    Photo,
    Walkthrough,
)
from jobs.walkthroughs.notice_words import notice_lines, notice_words, statement_words
from jobs.walkthroughs.pdf import record_pdf, seen_pdf
from jobs.walkthroughs.selectors.gate import is_to_be_shown
from jobs.walkthroughs.selectors.notices import is_disputed
from jobs.walkthroughs.services.notices import acknowledgement_follow, name_of, notice_make, notice_send
from jobs.work.models import Job
from shared import clock
from shared.company.selectors import company_get
from shared.errors import Refused
from shared.events.services import event_record
from shared.kept_files import digest_of, file_forget, file_store


def acknowledge_offline(
    *,
    walkthrough: Walkthrough,
    entry: OfflineAcknowledgement,
    now: datetime,
    device: str = "",
    actor: Any = None,
) -> OfflineAnswer:
    """The homeowner typed a name below what a phone without a signal showed. The same answer again is the same row.

    Kept with the exact text, the digests of the pictures, the phone's time and the time of arrival, and printed. Our
    own words of the stored walkthrough are made anew and compared; where they differ, the answer does not open the
    start. Raises AlreadyRecorded where the key came before with other content, OtherHouse, PhoneTimeRefused,
    NoticeClosed after an answer that counts or a newer walkthrough, Refused without a name or with nothing to show.
    """
    known = _known(walkthrough, entry.key, entry.digest)
    if known is not None:
        return known
    name = name_of(entry.typed_name)
    _require(walkthrough, entry.job_id, entry.at, now)
    photos = [photo for photo in walkthrough.photos.all() if photo.sent_digest in entry.pictures]
    shown = _print(walkthrough, entry, photos)
    answer = _answer(walkthrough, entry, photos, now)
    row = Acknowledgement(
        shown=shown,
        typed_name=name,
        statement=entry.statement,
        html_digest=shown.html_digest,
        pdf_digest=shown.pdf_digest,
        picture_digests=shown.picture_digests,
        wants_removal=entry.wants_removal,
        by_link=False,
        device=device[:300],
        handed_over_by=actor,
        at=entry.at,
    )
    try:
        record = record_pdf(row, answer)
        row.record_digest, row.record_file = digest_of(record), file_store(FOLDER, record, "pdf")
        return _store(walkthrough, row, answer, now, actor)
    except BaseException:
        for name in filter(None, (shown.pdf_file, row.record_file)):
            file_forget(name)
        raise


def _known(walkthrough: Walkthrough, key: uuid.UUID, digest: str) -> OfflineAnswer | None:
    """Raises AlreadyRecorded where the key belongs to another answer."""
    known = OfflineAnswer.objects.filter(key=key).first()
    if known is None or (known.sent_digest == digest and known.walkthrough.pk == walkthrough.pk):
        return known
    raise AlreadyRecorded(_("Another answer was sent under this key already. Nothing was changed."))


def _require(walkthrough: Walkthrough, job_id: int, at: datetime, now: datetime) -> None:
    if job_id != walkthrough.job_id:
        raise OtherHouse(_("This answer belongs to the walkthrough of another house."))
    if not is_to_be_shown(walkthrough):
        raise Refused(_("Nothing was found that has to be shown."))
    if at > now + CLOCKS_DIFFER_BY:
        raise PhoneTimeRefused(_("The phone's time has not come yet. Look at its clock."), at=at.isoformat())
    if at < now - LATE_BY:
        raise PhoneTimeRefused(_("This answer is older than seven days. Ask the office."), at=at.isoformat())
    if clock.local_date(company_get().timezone, at) < walkthrough.walked_on:
        raise PhoneTimeRefused(_("This answer is older than its walkthrough."), at=at.isoformat())
    _require_unanswered(walkthrough)


def _require_unanswered(walkthrough: Walkthrough) -> None:
    if Walkthrough.objects.filter(job=walkthrough.job_id, pk__gt=walkthrough.pk).exists():
        raise NoticeClosed(_("There is a newer walkthrough of this house. Ask us for its notice."))
    newest = walkthrough.notices.select_related("acknowledgement__offline__settled").order_by("-pk").first()
    answer = getattr(newest, "acknowledgement", None)
    if answer is not None and not is_disputed(answer):
        raise NoticeClosed(_("This notice is acknowledged already. Nothing was changed."))


def _print(walkthrough: Walkthrough, entry: OfflineAcknowledgement, photos: list[Photo]) -> NoticePrint:
    """The text as the phone showed it, with those of its pictures that arrived."""
    title, *lines = entry.text.split("\n")
    html = render_to_string("walkthroughs/seen_text.html", {"lines": [title, *lines], "photos": photos})
    pdf = seen_pdf(title, lines, photos, entry.language)
    return NoticePrint(
        language=entry.language,
        title=title[:200],
        html=html,
        html_digest=digest_of(html.encode()),
        pdf_file=file_store(FOLDER, pdf, "pdf"),
        pdf_digest=digest_of(pdf),
        picture_digests=[photo.digest for photo in photos],
    )


def _answer(
    walkthrough: Walkthrough, entry: OfflineAcknowledgement, photos: list[Photo], now: datetime
) -> OfflineAnswer:
    expected, statement = expected_words(walkthrough, entry)
    have_arrived = {photo.sent_digest for photo in photos} == set(entry.pictures)
    return OfflineAnswer(
        key=entry.key,
        sent_digest=entry.digest,
        phone_at=entry.at,
        received_at=now,
        text=entry.text,
        text_digest=digest_of(entry.text.encode()),
        expected=expected,
        differs=(entry.text, entry.statement) != (expected, statement) or not have_arrived,
        picture_digests=list(entry.pictures),
    )


def expected_words(walkthrough: Walkthrough, entry: OfflineAcknowledgement) -> tuple[str, str]:
    """The text and the sentence above the name as we word them of the stored walkthrough, in the entry's language."""
    with translation.override(entry.language):
        return "\n".join(notice_lines(notice_words(walkthrough, drawn=entry.pictures))), statement_words()


@transaction.atomic
def _store(
    walkthrough: Walkthrough, row: Acknowledgement, answer: OfflineAnswer, now: datetime, actor: Any
) -> OfflineAnswer:
    Job.objects.select_for_update().get(pk=walkthrough.job_id)
    known = _known(walkthrough, answer.key, answer.sent_digest)
    if known is not None:  # the same answer went up twice at once
        file_forget(row.shown.pdf_file)
        file_forget(row.record_file)
        return known
    _require_unanswered(walkthrough)
    notice = Notice.objects.create(walkthrough=walkthrough, made_at=now, made_by=actor)
    row.shown.notice = row.notice = notice
    row.shown.save()
    row.save()
    answer.acknowledgement = row
    answer.save()
    data = {"without_signal": True, "differs": answer.differs}
    acknowledgement_follow(row, actor, now=now, **data)
    return answer


@transaction.atomic
def nobody_home_offline(
    *, walkthrough: Walkthrough, entry: OfflineAbsence, now: datetime, actor: Any = None
) -> OfflineAnswer:
    """Nobody was home, written down without a signal: our notice goes out now. Once for each key.

    Raises as `acknowledge_offline` does, and Refused where the customer has no such address or said no to it.
    """
    known = _known(walkthrough, entry.key, entry.digest)
    if known is not None:
        return known
    _require(walkthrough, entry.job_id, entry.at, now)
    notice = notice_make(walkthrough=walkthrough, now=now, actor=actor)
    absence = notice_send(notice=notice, sent_how=entry.sent_how, now=now, note=entry.note, actor=actor)
    try:
        with transaction.atomic():
            return OfflineAnswer.objects.create(
                key=entry.key,
                sent_digest=entry.digest,
                absence=absence,
                phone_at=entry.at,
                received_at=now,
            )
    except IntegrityError as error:
        raise NoticeClosed(_("It is written down already that nobody was home. Nothing was changed.")) from error


@transaction.atomic
def difference_settle(*, answer: OfflineAnswer, reason: str, now: datetime, actor: Any) -> DifferenceSettled:
    """The office lets an answer count although what was shown differs from our words. Once, with a reason.

    Raises Refused without a reason or where nothing is to be settled, NoticeClosed where a newer notice took its place.
    """
    words = reason.strip()[:200]
    if not words:
        raise Refused(_("Say why, in a few words."))
    known = DifferenceSettled.objects.filter(answer=answer).first()
    if known is not None:
        return known
    notice = answer.notice
    if not answer.differs:
        raise Refused(_("What was shown does not differ from our text."))
    newer = Notice.objects.filter(walkthrough__job=notice.walkthrough.job_id, pk__gt=notice.pk).exists()
    if newer or Walkthrough.objects.filter(job=notice.walkthrough.job_id, pk__gt=notice.walkthrough_id).exists():
        raise NoticeClosed(_("A newer notice or walkthrough took its place."))
    row = DifferenceSettled.objects.create(answer=answer, reason=words, at=now, by=actor)
    event_record(kind="notice.difference_settled", subject=notice.walkthrough.job, actor=actor, reason=words)
    return row
