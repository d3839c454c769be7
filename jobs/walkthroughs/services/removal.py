"""The separate job that chalk found on a walkthrough opens."""

from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.walkthroughs.models import Walkthrough
from jobs.walkthroughs.selectors.removal import RemovalQuote, removal_job, removal_quote
from jobs.work.inputs import NewLine
from jobs.work.models import Job
from jobs.work.services import job_create
from pricing.estimates.domain.card import line_materials_cents
from pricing.estimates.expected import line_expected
from shared.errors import Refused
from shared.events.services import event_record


@transaction.atomic
def removal_open(*, walkthrough: Walkthrough, now: datetime, actor: Any = None) -> Job:
    """A lead for taking the chalk off the walls on which it was found, at the price that the notice gave.

    A property has one such open job: the one that is there is returned. Raises Refused where the card gives no price.
    """
    job = Job.objects.select_for_update().get(pk=walkthrough.job_id)
    known = removal_job(walkthrough.property_id)
    if known is not None:
        return known
    found = removal_quote(walkthrough)
    if found is None:
        raise Refused(_("No price: the card has no chalk removal by area, or the area of a chalky wall is not known."))
    new = job_create(
        property=walkthrough.property,
        lines=[_line(found)],
        source=f"found on job {job.pk}",
        created_at=now,
        actor=actor,
    )
    event_record(kind="walkthrough.removal_opened", subject=job, actor=actor, data={"job": new.pk})
    return new


def _line(found: RemovalQuote) -> NewLine:
    ask = found.quote.ask
    return NewLine(
        service=found.service,
        quantity=ask.quantity,
        price_cents=ask.price.total_cents,
        card_price_cents=ask.price.total_cents,
        materials_cents=line_materials_cents(ask.rate, ask.quantity),
        estimated_minutes=line_expected(ask.rate, ask.quantity, ask.circumstances).minutes,
        walls=found.walls,
    )
