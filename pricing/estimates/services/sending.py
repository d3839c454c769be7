"""Giving an estimate out: frozen in every language, printed, and sent with its link."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from pricing.estimates.choices import OPEN, EstimateState, MessageKind, SentBy
from pricing.estimates.errors import EstimateClosed, EstimateStale
from pricing.estimates.estimate_words import estimate_words
from pricing.estimates.inputs import FOLDER, AgreedLine
from pricing.estimates.jobs_behind import jobs_behind
from pricing.estimates.messages import message_write
from pricing.estimates.models import Estimate, EstimatePrint, SentEstimate
from pricing.estimates.pdf import estimate_pdf
from pricing.estimates.selectors import OptionView, estimate_get, option_views
from pricing.estimates.services.steps import version_advance, version_require
from shared.errors import Refused
from shared.events.services import event_record
from shared.kept_files import digest_of, file_forget, file_read, file_store
from shared.outbox.services import dispatch_soon

LANGUAGES = tuple(code for code, _name in settings.LANGUAGES)


def estimate_send(
    *,
    estimate: Estimate,
    sent_how: str,
    now: datetime,
    today: date,
    actor: Any = None,
    expected_version: int | None = None,
) -> SentEstimate:
    """Freeze the estimate, print it in every language and give it out; its job counts as estimated.

    By email or text a message with the link is queued. Sending again makes the next version and closes the link of the
    one before. Raises EstimateClosed after an answer or its last day, Refused where the message cannot go,
    EstimateStale, and what the job refuses.
    """
    version_require(estimate, expected_version)
    fresh = estimate_get(pk=estimate.pk)
    version_require(fresh, estimate.version)
    _require_sendable(fresh, sent_how, today)
    fresh.revision += 1
    prints = [_print(fresh, language) for language in LANGUAGES]
    try:
        return _store(fresh, prints, sent_how, now, actor)
    except BaseException:
        for row in prints:
            file_forget(row.pdf_file)
        raise


def _require_sendable(estimate: Estimate, sent_how: str, today: date) -> None:
    if estimate.state not in OPEN:
        raise EstimateClosed(_("This estimate is closed. Make a new one."))
    if estimate.valid_until < today:
        raise EstimateClosed(_("Its last day has passed. Set a later one first."))
    if sent_how not in SentBy.values:
        raise Refused(_("Say how it is sent."), sent_how=sent_how)


def _print(estimate: Estimate, language: str) -> EstimatePrint:
    with translation.override(language):
        words = estimate_words(estimate)
        html = render_to_string("estimates/estimate_text.html", {"words": words})
        pdf = estimate_pdf(words, language)
    return EstimatePrint(
        language=language,
        title=words.title[:200],
        html=html,
        html_digest=digest_of(html.encode()),
        choices=[{"position": row.position, "name": row.name, "total": row.total} for row in words.options],
        pdf_file=file_store(FOLDER, pdf, "pdf"),
        pdf_digest=digest_of(pdf),
    )


@transaction.atomic
def _store(
    estimate: Estimate, prints: Sequence[EstimatePrint], sent_how: str, now: datetime, actor: Any
) -> SentEstimate:
    views = option_views(estimate)
    version_advance(estimate, state=EstimateState.SENT, revision=estimate.revision)
    sent = SentEstimate(
        estimate=estimate,
        revision=estimate.revision,
        sent_at=now,
        sent_by=actor,
        sent_how=sent_how,
        valid_until=estimate.valid_until,
        figures={"options": [_frozen(view) for view in views]},
    )
    try:
        with transaction.atomic():
            sent.save()
    except IntegrityError as error:  # somebody else sent it just now
        raise EstimateStale(estimate.version) from error
    for row in prints:
        row.sent = sent
        row.save()
    first = sent.figures["options"][0]
    jobs_behind().estimated(
        job_ref=estimate.job_ref, lines=agreed_lines(first), discount_cents=first["discount_cents"], actor=actor
    )
    if sent_how != SentBy.PAPER:
        message_write(sent=sent, kind=MessageKind.SENT, channel=sent_how, now=now)
        dispatch_soon()
    data = {"revision": sent.revision, "how": str(sent_how)}
    event_record(kind="estimate.sent", subject=estimate, actor=actor, data=data)
    return sent


def _frozen(view: OptionView) -> dict[str, Any]:
    return {
        "position": view.option.position,
        "discount_cents": view.totals.discount_cents,
        "before_tax_cents": view.totals.before_tax_cents,
        "tax_cents": view.totals.tax_cents,
        "total_cents": view.totals.total_cents,
        "lines": [
            {
                "service_code": line.service.code,
                "quantity": line.quantity,
                "price_cents": line.price_cents,
                "card_price_cents": line.card_price_cents,
                "materials_cents": line.materials_cents,
                "minutes": line.minutes,
                "wall_refs": line.wall_refs,
            }
            for line in view.lines
        ],
    }


def agreed_lines(option: dict[str, Any]) -> list[AgreedLine]:
    """The lines of one option of `SentEstimate.figures`."""
    return [AgreedLine(**line | {"wall_refs": tuple(line["wall_refs"])}) for line in option["lines"]]


def print_pdf(row: EstimatePrint) -> bytes:
    """The PDF as it was made, byte for byte. Raises FileChanged where somebody changed the file."""
    return file_read(row.pdf_file, row.pdf_digest)
