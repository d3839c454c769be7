"""One nudge before an estimate ends."""

import logging
from datetime import date, datetime, timedelta

from django.db import transaction

from pricing.estimates.choices import EstimateState, MessageKind, SentBy
from pricing.estimates.messages import message_write
from pricing.estimates.models import SentEstimate
from shared.errors import WalldayError
from shared.outbox.services import dispatch_soon

NUDGE_DAYS = 3  # so many days before the last one; our choice, no source
LEAST_DAYS_OUT = 4  # whoever got it less than so long ago is not nudged; our choice, no source
logger = logging.getLogger(__name__)


def estimates_nudge(*, now: datetime, today: date) -> int:
    """Queue one message for each sent estimate that ends within three days and is not answered; by the way that it was
    sent. Running again writes nothing new. Returns how many were written."""
    written = 0
    for sent in _ending(now, today):
        try:
            with transaction.atomic():
                message_write(sent=sent, kind=MessageKind.EXPIRING, channel=sent.sent_how, now=now)
        except WalldayError as error:
            logger.info("no nudge for estimate %s: %s", sent.estimate_id, error.code)
            continue
        written += 1
    if written:
        dispatch_soon()
    return written


def _ending(now: datetime, today: date) -> list[SentEstimate]:
    rows = SentEstimate.objects.filter(
        estimate__state=EstimateState.SENT,
        valid_until__gte=today,
        valid_until__lte=today + timedelta(days=NUDGE_DAYS),
        sent_at__lte=now - timedelta(days=LEAST_DAYS_OUT),
    )
    rows = rows.exclude(sent_how=SentBy.PAPER).exclude(messages__kind=MessageKind.EXPIRING)
    return [row for row in rows.select_related("estimate") if row.revision == row.estimate.revision]
