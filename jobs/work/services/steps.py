"""One step of a job through its states: checked against the table, guarded by the version, kept in the history."""

from typing import Any

from django.db.models import F

from jobs.work.domain.states import state_after
from jobs.work.errors import JobStale, ReasonMissing, StepRefused
from jobs.work.models import Job
from shared.events.services import event_record

EVENTS = {
    "estimate": "job.estimated",
    "agree": "job.agreed",
    "decline": "job.declined",
    "plan": "job.planned",
    "agree_again": "job.agreed_again",
    "arrive": "job.arrived",
    "finish": "job.done",
    "call_off": "job.called_off",
}


def step_take(
    *,
    job: Job,
    step: str,
    actor: Any,
    reason: str = "",
    data: dict[str, Any] | None = None,
    expected_version: int | None = None,
) -> Job:
    """Take `step` inside the caller's transaction; `job` carries the new state and version afterwards.

    Raises StepRefused where the state does not allow it, and JobStale where the row was changed since `job` was
    read, or since the `expected_version` that a page or program showed.
    """
    version_require(job, expected_version)
    state = state_after(job.state, step)
    if state is None:
        raise StepRefused(state=job.state, step=step)
    version_advance(job, state=state)
    event_record(kind=EVENTS[step], subject=job, actor=actor, reason=reason, data=data)
    return job


def version_require(job: Job, expected_version: int | None) -> None:
    """Raises JobStale unless `expected_version` is None or the job's."""
    if expected_version not in (None, job.version):
        raise JobStale(version=job.version)


def version_advance(job: Job, **changes: Any) -> None:
    """Write `changes` and the next version if nobody else wrote since `job` was read. Raises JobStale."""
    row = Job.objects.filter(pk=job.pk, version=job.version)
    if not row.update(**changes, version=F("version") + 1):
        raise JobStale(version=job.version)
    for name, value in changes.items():
        setattr(job, name, value)
    job.version += 1


def reason_require(reason: str) -> str:
    """The reason without blanks around it. Raises ReasonMissing for none."""
    if not reason.strip():
        raise ReasonMissing
    return reason.strip()
