from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.customers.models import Property
from jobs.work.choices import JobState
from jobs.work.domain.states import CLOSED, MAY_BEGIN_AS
from jobs.work.inputs import NewLine, NewWindow
from jobs.work.models import Job, JobLine, JobWindow
from jobs.work.services.steps import reason_require, step_take, version_advance, version_require
from pricing.triage.services import lead_outcome_record
from shared import clock
from shared.errors import Conflict, Refused
from shared.events.services import event_record


@transaction.atomic
def job_create(
    *,
    property: Property,
    lines: Sequence[NewLine],
    created_at: datetime,
    windows: Sequence[NewWindow] = (),
    state: str = JobState.LEAD,
    reference: str | None = None,
    source: str = "",
    note: str = "",
    discount_cents: int = 0,
    callback_of: Job | None = None,
    actor: Any = None,
) -> Job:
    """Make a job with its lines and the days on which it may be done.

    `state` is lead, estimated or agreed. A free return visit (`callback_of`) costs the customer nothing and is
    counted against the first job, also when it makes good another return visit. Raises Refused for a state,
    price or discount that cannot be, ValidationError for a value that breaks a rule of the rows.
    """
    _require_sound(lines, state, discount_cents, callback_of)
    job = Job(
        property=property,
        state=state,
        reference=reference or None,
        source=source,
        note=note,
        discount_cents=discount_cents,
        callback_of=(callback_of.callback_of or callback_of) if callback_of else None,
        created_at=created_at,
    )
    job.full_clean()
    job.save()
    for line in lines:
        line_add(job, line)
    _windows_replace(job, windows)
    event_record(kind="job.created", subject=job, actor=actor, data={"state": str(state)})
    return job


@transaction.atomic
def job_estimate(*, job: Job, reason: str = "", actor: Any = None, expected_version: int | None = None) -> Job:
    """The customer has been given a price. Raises StepRefused, JobStale."""
    return step_take(job=job, step="estimate", actor=actor, reason=reason, expected_version=expected_version)


@transaction.atomic
def job_agree(
    *,
    job: Job,
    windows: Sequence[NewWindow] | None = None,
    actor: Any = None,
    reason: str = "",
    expected_version: int | None = None,
) -> Job:
    """The customer said yes; `windows` replace the possible days unless None. Raises StepRefused, JobStale."""
    step_take(job=job, step="agree", actor=actor, reason=reason, expected_version=expected_version)
    if windows is not None:
        _windows_replace(job, windows)
    lead_outcome_record(job_ref=job.pk, said_yes=True, now=clock.now())
    return job


@transaction.atomic
def job_decline(*, job: Job, reason: str, actor: Any = None, expected_version: int | None = None) -> Job:
    """No job comes of it: theirs or ours to say, with the reason. Raises ReasonMissing, StepRefused, JobStale."""
    reason = reason_require(reason)
    step_take(job=job, step="decline", actor=actor, reason=reason, expected_version=expected_version)
    lead_outcome_record(job_ref=job.pk, said_yes=False, now=clock.now())
    return job


@transaction.atomic
def job_call_off(*, job: Job, reason: str, actor: Any = None, expected_version: int | None = None) -> Job:
    """An agreed job will not be done after all. Raises ReasonMissing, StepRefused, JobStale."""
    reason = reason_require(reason)
    return step_take(job=job, step="call_off", actor=actor, reason=reason, expected_version=expected_version)


@transaction.atomic
def job_mark_planned(*, job: Job, work_date: date, actor: Any = None) -> Job:
    """The job is on a route that was sent out. Raises StepRefused, JobStale."""
    return step_take(job=job, step="plan", actor=actor, data={"work_date": work_date.isoformat()})


@transaction.atomic
def job_mark_agreed_again(*, job: Job, reason: str = "", actor: Any = None, expected_version: int | None = None) -> Job:
    """Dropped from its day, or broken off on site: it waits to be planned again. Raises StepRefused, JobStale."""
    return step_take(job=job, step="agree_again", actor=actor, reason=reason, expected_version=expected_version)


@transaction.atomic
def job_arrive(*, job: Job, actor: Any = None) -> Job:
    """The crew is there. Raises StepRefused, JobStale."""
    return step_take(job=job, step="arrive", actor=actor)


@transaction.atomic
def job_windows_set(
    *, job: Job, windows: Sequence[NewWindow], actor: Any = None, reason: str = "", expected_version: int | None = None
) -> Job:
    """Replace the days on which the work may begin. Raises Conflict for a job that is closed, JobStale."""
    version_require(job, expected_version)
    if job.state in CLOSED:
        raise Conflict(_("This job is closed; its days cannot be changed."), state=job.state)
    version_advance(job)
    _windows_replace(job, windows)
    event_record(kind="job.days_set", subject=job, actor=actor, reason=reason, data={"windows": len(windows)})
    return job


def _require_sound(lines: Sequence[NewLine], state: str, discount_cents: int, callback_of: Job | None) -> None:
    if state not in MAY_BEGIN_AS:
        raise Refused(_("A new job is a lead, estimated or agreed."), state=str(state))
    if not lines:
        raise Refused(_("A job needs at least one service."))
    if any(line.price_cents < 0 for line in lines):
        raise Refused(_("A price cannot be less than nothing; use the discount."))
    if not 0 <= discount_cents <= sum(line.price_cents for line in lines):
        raise Refused(_("The discount must be from nothing to the whole price."), discount_cents=discount_cents)
    if callback_of and any(line.price_cents for line in lines):
        raise Refused(_("A free return visit has no price."))


def line_add(job: Job, new: NewLine) -> JobLine:
    line = JobLine(
        job=job,
        service=new.service,
        quantity=new.quantity,
        price_cents=new.price_cents,
        card_price_cents=new.card_price_cents,
        materials_cents=new.materials_cents,
        estimated_minutes=new.estimated_minutes,
        note=new.note,
    )
    line.full_clean(exclude=["job", "service"])
    line.save()
    if new.walls:
        if any(wall.property_id != job.property_id for wall in new.walls):
            raise Refused(_("A wall of another property cannot be on this job."))
        line.walls.set(new.walls)
    return line


def _windows_replace(job: Job, windows: Sequence[NewWindow]) -> None:
    job.windows.all().delete()
    for new in windows:
        window = JobWindow(
            job=job,
            first_date=new.first_date,
            last_date=new.last_date,
            start_minute=new.start_minute,
            end_minute=new.end_minute,
            promised=new.promised,
        )
        window.full_clean(exclude=["job"])
        window.save()
