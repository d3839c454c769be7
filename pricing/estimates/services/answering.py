"""Yes or no to a sent estimate: once, by name, with the text that was seen."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import translation
from django.utils.translation import gettext as _

from pricing.estimates.choices import OPEN, EstimateState, MessageKind, SentBy
from pricing.estimates.errors import EstimateClosed, EstimateStale
from pricing.estimates.estimate_words import accept_words, decline_words
from pricing.estimates.jobs_behind import jobs_behind
from pricing.estimates.messages import message_write
from pricing.estimates.models import Estimate, EstimateAnswer, EstimatePrint, SentEstimate
from pricing.estimates.services.sending import LANGUAGES, agreed_lines
from pricing.estimates.services.steps import reason_require, version_advance, version_require
from shared.errors import Refused, WalldayError
from shared.events.services import event_record
from shared.outbox.services import dispatch_soon


@transaction.atomic
def estimate_accept(
    *,
    sent: SentEstimate,
    option: int,
    language: str,
    typed_name: str,
    now: datetime,
    today: date,
    by_link: bool,
    device: str = "",
    actor: Any = None,
) -> EstimateAnswer:
    """The customer said yes to one option (by position); the job is agreed with that option's lines and prices.

    Stored with the exact text, its digests, time and device: 15 USC 7001(a) asks for no more form than paper has, (d)
    for a record that can be reproduced. Raises EstimateClosed where it was answered already, its last day has passed
    or a newer version took its place; Refused without a name or for an option that was not offered; and what the job
    refuses. In each case nothing is changed.
    """
    shown = _shown(sent, language)
    chosen = next((row for row in sent.figures["options"] if row["position"] == option), None)
    words = next((row for row in shown.choices if row["position"] == option), None)
    if chosen is None or words is None:
        raise Refused(_("Choose one of the options."), option=option)
    with translation.override(shown.language):
        statement = accept_words(words["name"], words["total"])
    answer = _answer(shown, typed_name, statement, now, by_link, device, actor)
    answer.accepted, answer.option_position, answer.option_name = True, option, words["name"][:400]
    answer.total_cents = chosen["total_cents"]
    _close(sent, answer, EstimateState.ACCEPTED, today)
    _on_the_job(
        lambda: jobs_behind().agreed(
            job_ref=sent.estimate.job_ref,
            lines=agreed_lines(chosen),
            discount_cents=chosen["discount_cents"],
            estimate_id=sent.estimate_id,
            actor=actor,
        )
    )
    data = {"option": option, "total_cents": answer.total_cents, "by_link": by_link}
    event_record(kind="estimate.accepted", subject=sent.estimate, actor=actor, data=data)
    _confirm(sent, now)
    return answer


@transaction.atomic
def estimate_decline(
    *,
    sent: SentEstimate,
    language: str,
    typed_name: str,
    now: datetime,
    today: date,
    by_link: bool,
    reason: str = "",
    device: str = "",
    actor: Any = None,
) -> EstimateAnswer:
    """The customer said no, with a reason or without; the job is declined. Raises as `estimate_accept`."""
    shown = _shown(sent, language)
    with translation.override(shown.language):
        statement = decline_words()
    answer = _answer(shown, typed_name, statement, now, by_link, device, actor)
    answer.accepted, answer.reason = False, " ".join(reason.split())[:300]
    _close(sent, answer, EstimateState.DECLINED, today)
    _on_the_job(lambda: jobs_behind().declined(job_ref=sent.estimate.job_ref, reason=answer.reason, actor=actor))
    data = {"by_link": by_link}
    event_record(kind="estimate.declined", subject=sent.estimate, actor=actor, reason=answer.reason, data=data)
    return answer


@transaction.atomic
def estimate_take_back(
    *, estimate: Estimate, reason: str, actor: Any = None, expected_version: int | None = None
) -> Estimate:
    """Close an open estimate: it can no longer be accepted. The job stays as it is. Raises ReasonMissing,
    EstimateClosed, EstimateStale."""
    version_require(estimate, expected_version)
    if estimate.state not in OPEN:
        raise EstimateClosed(_("This estimate is closed already."))
    reason = reason_require(reason)
    version_advance(estimate, state=EstimateState.TAKEN_BACK)
    event_record(kind="estimate.taken_back", subject=estimate, actor=actor, reason=reason)
    return estimate


def require_open(sent: SentEstimate, today: date) -> None:
    """Raises EstimateClosed, in words for the homeowner, where a sent estimate can no longer be answered."""
    estimate = sent.estimate
    if estimate.state in (EstimateState.ACCEPTED, EstimateState.DECLINED):
        raise EstimateClosed(_("This estimate was answered already. Nothing was changed."))
    if estimate.state != EstimateState.SENT or estimate.revision != sent.revision:
        raise EstimateClosed(_("We have changed this estimate or taken it back. Ask us for the new one."))
    if sent.valid_until < today:
        raise EstimateClosed(_("The last day of this estimate has passed. Ask us for a new one."))


def _shown(sent: SentEstimate, language: str) -> EstimatePrint:
    return sent.prints.get(language=language if language in LANGUAGES else LANGUAGES[0])


def _answer(
    shown: EstimatePrint, typed_name: str, statement: str, now: datetime, by_link: bool, device: str, actor: Any
) -> EstimateAnswer:
    name = " ".join(typed_name.split())[:120]
    if not name:
        raise Refused(_("Type your name."))
    return EstimateAnswer(
        shown=shown,
        typed_name=name,
        statement=statement,
        html_digest=shown.html_digest,
        pdf_digest=shown.pdf_digest,
        by_link=by_link,
        device=device[:300],
        recorded_by=actor,
        at=now,
    )


def _close(sent: SentEstimate, answer: EstimateAnswer, state: str, today: date) -> None:
    """The state moves once, whoever is quicker; the answer's row is unique besides."""
    estimate = Estimate.objects.get(pk=sent.estimate_id)
    sent.estimate = estimate
    require_open(sent, today)
    answer.estimate = estimate
    try:
        version_advance(estimate, state=state)
        with transaction.atomic():
            answer.save()
    except (EstimateStale, IntegrityError) as error:
        raise EstimateClosed(_("This estimate was answered already. Nothing was changed.")) from error


def _on_the_job(take: Callable[[], None]) -> None:
    """What the job refuses closes the door in words that a homeowner can use; the transaction takes all back."""
    try:
        take()
    except WalldayError as error:
        words = _("This work can no longer be agreed here. Please call us. Nothing was changed.")
        raise EstimateClosed(words, why=error.code) from error


def _confirm(sent: SentEstimate, now: datetime) -> None:
    """What was agreed goes to the customer as the estimate did; where that way is closed the page alone says it."""
    if sent.sent_how == SentBy.PAPER:
        return
    try:
        with transaction.atomic():
            message_write(sent=sent, kind=MessageKind.ACCEPTED, channel=sent.sent_how, now=now)
    except WalldayError:
        return
    dispatch_soon()
