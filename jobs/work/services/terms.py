from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.work.choices import JobState
from jobs.work.domain.states import CLOSED
from jobs.work.inputs import LineTerms, NewLine
from jobs.work.models import Job, JobLine
from jobs.work.services.jobs import job_create
from jobs.work.services.steps import reason_require, version_advance, version_require
from pricing.minutes.selectors import conditions_of
from pricing.minutes.services import conditions_set
from shared.errors import Conflict, Refused
from shared.events.services import event_record
from shared.units import share_out


@transaction.atomic
def job_terms_set(
    *,
    job: Job,
    lines: Sequence[LineTerms],
    discount_cents: int,
    actor: Any = None,
    reason: str = "",
    expected_version: int | None = None,
) -> Job:
    """Agree other prices and minutes on the lines of an open job, and the discount; other lines stay as they are.

    What the rate card asked stays beside the new price. Raises Conflict for a job that is closed, Refused for lines
    of another job and prices that cannot be, JobStale.
    """
    version_require(job, expected_version)
    if job.state in CLOSED:
        raise Conflict(_("This job is closed; its prices cannot be changed."), state=job.state)
    present = {line.pk: line for line in JobLine.objects.filter(job=job)}
    before = sum(line.price_cents for line in present.values()) - job.discount_cents
    _require_sound(job, present, lines)
    for terms in lines:
        line = present[terms.line_id]
        line.price_cents, line.estimated_minutes = terms.price_cents, terms.estimated_minutes
        line.full_clean(exclude=["job", "service"])
        line.save()
    total = sum(line.price_cents for line in present.values())
    if not 0 <= discount_cents <= total:
        raise Refused(_("The discount must be from nothing to the whole price."), discount_cents=discount_cents)
    version_advance(job, discount_cents=discount_cents)
    data = {"before_cents": before, "after_cents": total - discount_cents}
    event_record(kind="job.terms_set", subject=job, actor=actor, reason=reason, data=data)
    return job


@transaction.atomic
def job_conditions_set(*, job: Job, access: str, soil: str, actor: Any = None) -> None:
    """Say how the property of an open job is to be worked at: what its minutes are forecast and learnt by.

    Agreed prices and minutes stay. Raises Conflict for a job that is closed, ValidationError for an unknown level.
    """
    if job.state in CLOSED:
        raise Conflict(_("This job is closed; its access and soil stay as they were booked."), state=job.state)
    before = conditions_of(job_refs=[job.pk]).get(job.pk)
    conditions_set(job_ref=job.pk, access=access, soil=soil)
    data = {"from": list(before) if before else None, "to": [access, soil]}
    event_record(kind="job.conditions_set", subject=job, actor=actor, data=data)


@transaction.atomic
def return_visit_create(*, job: Job, on_site_minutes: int, reason: str, created_at: datetime, actor: Any = None) -> Job:
    """Take down a free return visit that makes good what went wrong on a job that was done.

    It has the services of the job, no price, and `on_site_minutes` >= 1 split over them by their estimates; the
    reason is the crew's note. Raises ReasonMissing, Conflict for a job that is not done, Refused.
    """
    reason = reason_require(reason)
    if job.state != JobState.DONE:
        raise Conflict(_("Only work that was done can be made good."), state=job.state)
    if on_site_minutes < 1:
        raise Refused(_("Say how many minutes it may take."), on_site_minutes=on_site_minutes)
    first = list(job.lines.select_related("service").prefetch_related("walls"))
    minutes = share_out(on_site_minutes, [line.estimated_minutes for line in first])
    return job_create(
        property=job.property,
        lines=[_for_free(line, part) for line, part in zip(first, minutes, strict=True)],
        state=JobState.AGREED,
        note=reason,
        callback_of=job,
        created_at=created_at,
        actor=actor,
    )


def _for_free(line: JobLine, minutes: int) -> NewLine:
    return NewLine(line.service, 0, minutes, line.quantity, walls=list(line.walls.all()))


def _require_sound(job: Job, present: dict[int, JobLine], lines: Sequence[LineTerms]) -> None:
    if {terms.line_id for terms in lines} - present.keys():
        raise Refused(_("A line that is to be changed is not on this job."))
    if any(terms.price_cents < 0 or terms.estimated_minutes < 0 for terms in lines):
        raise Refused(_("Prices and minutes cannot be less than nothing."))
    if job.callback_of_id and any(terms.price_cents for terms in lines):
        raise Refused(_("A free return visit has no price."))
