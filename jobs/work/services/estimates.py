"""The jobs behind estimates: what giving one out, and the answer to it, do to the job."""

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from jobs.customers.models import Wall
from jobs.customers.selectors import service_address, why_not_there, zone_of
from jobs.work.choices import JobState
from jobs.work.inputs import NewLine
from jobs.work.models import Job
from jobs.work.services.jobs import job_agree, job_decline, job_estimate, line_add
from jobs.work.services.steps import version_advance
from pricing.catalogue.models import Service
from pricing.estimates.inputs import AgreedLine, Recipient
from pricing.estimates.messages import reason_to_drop
from pricing.estimates.models import EstimateMessage
from shared.company.selectors import company_get
from shared.errors import NotFound
from shared.outbox.models import Message


class EstimatedJobs:
    """See `pricing.estimates.jobs_behind.JobsBehind`; every method runs in the caller's transaction."""

    def estimated(self, *, job_ref: int, lines: Sequence[AgreedLine], discount_cents: int, actor: Any) -> None:
        """A lead becomes estimated; an estimated job stays so. Raises NotFound, StepRefused, JobStale."""
        job = _job(job_ref)
        if job.state != JobState.ESTIMATED:
            job_estimate(job=job, actor=actor)
        version_advance(job, discount_cents=discount_cents)
        _lines_replace(job, lines)

    def agreed(
        self, *, job_ref: int, lines: Sequence[AgreedLine], discount_cents: int, estimate_id: int, actor: Any
    ) -> None:
        """The job is agreed with these lines. Raises NotFound, StepRefused, JobStale."""
        job = _job(job_ref)
        why = _("Estimate %(number)s was accepted.") % {"number": estimate_id}
        job_agree(job=job, actor=actor, reason=why)
        version_advance(job, discount_cents=discount_cents)
        _lines_replace(job, lines)

    def declined(self, *, job_ref: int, reason: str, actor: Any) -> None:
        """The job is declined. Raises NotFound, StepRefused, JobStale."""
        why = reason or _("The customer declined the estimate.")
        job_decline(job=_job(job_ref), actor=actor, reason=why)

    def recipient(self, *, job_ref: int, channel: str, is_nudge: bool = False) -> Recipient:
        """Raises NotFound, and Refused where the customer has no such address or said no."""
        place = _job(job_ref).property
        address = service_address(customer=place.customer, channel=channel, is_nudge=is_nudge)
        zone = zone_of(place, otherwise=company_get().timezone)
        return Recipient(address, place.customer.name, place.customer.language, zone)


def estimate_guard(message: Message) -> str:
    """Why a queued message about an estimate must not leave any more; empty: it may. Asked right before it goes."""
    row = EstimateMessage.objects.select_related("sent__estimate").filter(message=message).first()
    reason = reason_to_drop(message)
    if reason or row is None:
        return reason
    try:
        job = _job(row.sent.estimate.job_ref)
    except NotFound as error:
        return error.message
    if job.state in (JobState.DECLINED, JobState.CALLED_OFF):
        return _("The work was called off meanwhile.")
    to = {"channel": message.channel, "recipient": message.recipient}
    return why_not_there(customer=job.property.customer, is_nudge=row.kind == "expiring", **to)


def _job(job_ref: int) -> Job:
    job = Job.objects.select_related("property__customer").filter(pk=job_ref).first()
    if job is None:
        raise NotFound(_("There is no job %(number)s.") % {"number": job_ref})
    return job


def _lines_replace(job: Job, lines: Sequence[AgreedLine]) -> None:
    """The lines as estimated take the place of the job's; nothing was booked on those, since no work was done."""
    services = {row.code: row for row in Service.objects.filter(code__in=[line.service_code for line in lines])}
    wall_refs = {ref for line in lines for ref in line.wall_refs}
    walls = {wall.pk: wall for wall in Wall.objects.filter(pk__in=wall_refs, property=job.property_id)}
    job.lines.all().delete()
    for line in lines:
        line_add(
            job,
            NewLine(
                service=services[line.service_code],
                quantity=line.quantity,
                price_cents=line.price_cents,
                card_price_cents=line.card_price_cents,
                materials_cents=line.materials_cents,
                estimated_minutes=line.minutes,
                walls=[walls[ref] for ref in line.wall_refs if ref in walls],
            ),
        )
