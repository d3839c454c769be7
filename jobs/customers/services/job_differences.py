"""What a row of a jobs' file says otherwise than the rows that are stored."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from jobs.customers.domain.job_rows import JobRow
from jobs.customers.domain.values import same_value
from jobs.customers.models import Property
from jobs.work.domain.states import STEPS
from jobs.work.models import Job, JobLine, Visit
from pricing.catalogue.models import Service

from .index import own_number
from .job_terms import LineTerms
from .jobs_store import DoneLine, KnownJob, KnownLine

OPEN = ("lead", "estimated", "agreed")
ON_A_PLAN = ("planned", "on_site")


def token_of(known: KnownJob) -> int:
    return known.job.pk or -id(known)


def said_of_job(row: JobRow) -> dict[str, Any]:
    """What every row of one job must agree on."""
    names = ("state", "done_on", "windows", "discount_cents", "workers", "note")
    said = {name: getattr(row, name) for name in names}
    return {name: value for name, value in said.items() if value not in (None, "", ())}


def job_differences(row: JobRow, job: Job, state: str) -> dict[str, Any]:
    reference = row.reference if own_number(row.reference) is None else ""
    given = {"state": state, "reference": reference, "note": row.note, "discount_cents": row.discount_cents}
    return _only_differing(given, job)


def line_differences(row: JobRow, line: JobLine) -> dict[str, Any]:
    given = {
        "quantity": row.quantity,
        "price_cents": row.price_cents,
        "materials_cents": row.materials_cents,
        "estimated_minutes": row.minutes if row.state != "done" else None,
        "note": row.line_note,
    }
    return _only_differing(given, line)


def _only_differing(given: Mapping[str, Any], row: Job | JobLine) -> dict[str, Any]:
    """What is given and stands otherwise in the row."""
    return {
        name: value
        for name, value in given.items()
        if value not in (None, "") and not same_value(getattr(row, name), value)
    }


def history_differences(row: JobRow, known: KnownJob, line: KnownLine) -> list[str]:
    """The names of what the row gives and the history holds otherwise."""
    assert known.visit is not None
    booked = line.booked
    stored: dict[str, Any] = {
        "quantity": line.line.quantity,
        "price_cents": line.line.price_cents,
        "materials_cents": booked.materials_cents if booked else line.line.materials_cents,
        "minutes": booked.minutes if booked else None,
        "drive_minutes": (booked.drive_minutes if booked else None) or 0,
        "wage_cents": (booked.wage_cents if booked else None) or 0,
        "workers": known.visit.workers,
        "discount_cents": known.job.discount_cents,
        "note": known.job.note,
        "line_note": line.line.note,
    }
    given = {name: getattr(row, name) for name in stored}
    said = {name: value for name, value in given.items() if value not in (None, "")}
    return [name for name, value in said.items() if not same_value(stored[name], value)]


def is_reachable(state: str, target: str) -> bool:
    """Whether steps of the states' table lead from one state to the other without a day plan."""
    seen, ahead = {state}, [state]
    while ahead:
        here = ahead.pop()
        for sources, leads_to in STEPS.values():
            if here in sources and leads_to not in seen and leads_to not in ON_A_PLAN:
                seen.add(leads_to)
                ahead.append(leads_to)
    return target in seen


def job_line(row: JobRow, job: Job, service: Service, terms: LineTerms) -> JobLine:
    return JobLine(
        job=job,
        service=service,
        quantity=terms.quantity,
        price_cents=terms.price_cents,
        card_price_cents=terms.card_price_cents,
        materials_cents=terms.materials_cents,
        estimated_minutes=terms.estimated_minutes,
        note=row.line_note,
    )


def new_job(row: JobRow, place: Property, callback_of: Job | None, now: datetime) -> Job:
    """A job as the row gives it; a name that an export gave is no reference to store."""
    return Job(
        property=place,
        reference=row.reference if row.reference and own_number(row.reference) is None else None,
        state=row.state,
        discount_cents=row.discount_cents or 0,
        note=row.note,
        source="import",
        created_at=now,
        callback_of=callback_of,
    )


def new_visit(row: JobRow, job: Job, actor: Any, now: datetime) -> Visit:
    """The visit of a row that is done; its minutes are added up from its lines when it is stored."""
    assert row.done_on is not None
    return Visit(job=job, work_date=row.done_on, workers=row.workers or 2, recorded_by=actor, recorded_at=now)


def done_line(row: JobRow, line: KnownLine) -> DoneLine:
    """What a row books for a line."""
    return DoneLine(
        line,
        price_known=row.price_cents is not None,
        minutes=row.minutes,
        materials_cents=line.line.materials_cents,
        drive_minutes=row.drive_minutes or 0,
        wage_cents=row.wage_cents or 0,
    )


def said_of_interval(row: JobRow) -> dict[str, Any]:
    """What every row about a service at a property must agree on."""
    return {} if row.interval_months is None else {"interval_months": row.interval_months}


COLUMN_OF = {
    "price_cents": "price", "materials_cents": "materials", "discount_cents": "discount", "windows": "possible_dates",
    "wage_cents": "wages", "state": "job_state", "note": "job_note", "estimated_minutes": "minutes",
}  # fmt: skip
