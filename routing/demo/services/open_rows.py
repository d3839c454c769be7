"""The jobs in the demo's book as rows, with their windows and the history of how they came about."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from jobs.work.choices import JobState
from jobs.work.models import Job, JobWindow
from routing.demo.domain.open_jobs import OpenJob
from routing.demo.services.house_rows import BATCH, NOON, OFFICE_OPENS, at
from routing.demo.services.past_rows import Rows, lines_store
from shared.events.models import Event
from shared.events.services import event_unsaved


def open_jobs_store(rows: Rows, specs: Sequence[OpenJob]) -> None:
    """Write leads, estimates and agreed jobs."""
    jobs = Job.objects.bulk_create((_job(rows, spec) for spec in specs), BATCH)
    lines_store(rows, jobs, [spec.lines for spec in specs])
    pairs = list(zip(specs, jobs, strict=True))
    JobWindow.objects.bulk_create((window for spec, job in pairs for window in _windows(spec, job)), BATCH)
    Event.objects.bulk_create((event for spec, job in pairs for event in _events(spec, job)), BATCH)


def _job(rows: Rows, spec: OpenJob) -> Job:
    return Job(
        reference=spec.reference,
        property=rows.properties[spec.house],
        state=spec.state,
        source=spec.source,
        note=spec.note,
        created_at=at(spec.created, OFFICE_OPENS),
    )


def _windows(spec: OpenJob, job: Job) -> Iterator[JobWindow]:
    for window in spec.windows:
        yield JobWindow(
            job=job,
            first_date=window.first,
            last_date=window.last,
            start_minute=window.start_minute,
            end_minute=window.end_minute,
            promised=window.promised,
        )


def _events(spec: OpenJob, job: Job) -> Iterator[Event]:
    steps = {JobState.ESTIMATED: ["job.estimated"], JobState.AGREED: ["job.estimated", "job.agreed"]}
    created = at(spec.created, OFFICE_OPENS)
    yield _event(job, "job.created", created, {"state": str(JobState.LEAD)})
    for kind in steps.get(JobState(spec.state), []):
        yield _event(job, kind, at(spec.created, NOON), {})


def _event(job: Job, kind: str, moment: datetime, data: dict[str, str]) -> Event:
    return event_unsaved(kind=kind, subject=job, at=moment, data=data)
