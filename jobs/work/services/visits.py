from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.work.domain.booking import LineAgreed, LineBooked, LineShare, VisitTotals, split_visit
from jobs.work.minutes import bookings_of
from jobs.work.models import Job, JobLine, Visit, VisitLine
from jobs.work.selectors import booking_facts
from jobs.work.services.intervals import intervals_move
from jobs.work.services.steps import step_take
from pricing.earnings import services as ledger
from pricing.earnings.choices import EntryKind
from pricing.earnings.domain.facts import BookingFacts, HoursShared, hours_shared
from pricing.minutes.services import minutes_book
from shared import clock
from shared.background.services import enqueue
from shared.errors import Refused


@transaction.atomic
def visit_record(
    *,
    job: Job,
    work_date: date,
    on_site_minutes: int,
    crew_code: str = "",
    workers: int = 2,
    arrived_at: datetime | None = None,
    started_at: datetime | None = None,
    finished_at: datetime | None = None,
    setup_minutes: int = 0,
    drive_minutes: int = 0,
    drive_metres: int = 0,
    wage_cents: int = 0,
    vehicle_cents: int = 0,
    lines: Sequence[LineBooked] = (),
    note: str = "",
    actor: Any = None,
) -> Visit:
    """Book the work as done: the visit with its lines, what each line earned and took, the next due date.

    `on_site_minutes` >= 1 is the crew's time at the property; `drive_*` the stop's share of its route; wages come
    with burden. `lines` say what the crew booked for a line; what they leave out is split by the estimate. A free
    return visit books its time against the first job, at no price, and moves no due date. Raises StepRefused,
    JobStale, Refused (no time on site, a line of another job).
    """
    agreed = list(job.lines.select_related("service"))
    bookable_require(agreed, on_site_minutes, lines)
    step_take(job=job, step="finish", actor=actor, data={"work_date": work_date.isoformat()})
    visit = Visit(
        job=job,
        work_date=work_date,
        crew_code=crew_code,
        workers=workers,
        arrived_at=arrived_at,
        started_at=started_at,
        finished_at=finished_at,
        on_site_minutes=on_site_minutes,
        drive_minutes=drive_minutes,
        drive_metres=drive_metres,
        note=note,
        recorded_by=actor,
        recorded_at=clock.now(),
    )
    visit.full_clean(exclude=["job", "recorded_by"])
    visit.save()
    totals = VisitTotals(on_site_minutes, setup_minutes, drive_minutes, drive_metres, wage_cents, vehicle_cents)
    _share_out(visit, agreed, totals, lines)
    if job.callback_of_id is None:
        intervals_move(property=job.property, services=[line.service for line in agreed], done_on=work_date)
    if any(line.service.removes_chalk for line in agreed):
        enqueue("chalking.forecast_property", property_id=job.property_id)
    return visit


def bookable_require(agreed: list[JobLine], on_site_minutes: int, lines: Sequence[LineBooked]) -> None:
    """Raises Refused for no time on site, a line that is not on the job, and amounts below nothing."""
    if on_site_minutes < 1:
        raise Refused(_("Say how many minutes the crew was there."), on_site_minutes=on_site_minutes)
    strange = {line.line_id for line in lines} - {line.pk for line in agreed}
    if strange:
        raise Refused(_("A line that was booked is not on this job."), lines=sorted(strange))
    if any((line.minutes or 0) < 0 or (line.materials_cents or 0) < 0 for line in lines):
        raise Refused(_("Minutes and materials cannot be less than nothing."))


def line_agreed(line: JobLine) -> LineAgreed:
    """The row as the calculation takes it."""
    return LineAgreed(line.pk, line.price_cents, line.materials_cents, line.estimated_minutes)


def _share_out(visit: Visit, agreed: list[JobLine], totals: VisitTotals, lines: Sequence[LineBooked]) -> None:
    """Write what each service took and earned: into the history and into the ledger."""
    shares = split_visit(totals, [line_agreed(line) for line in agreed], lines, visit.job.discount_cents)
    visit_lines_write(visit, agreed, shares, lines)
    cause = visit.job.callback_of_id or visit.job_id
    facts = booking_facts({cause: visit.work_date})[cause]
    facts = facts.of_callback() if visit.job.callback_of_id else facts
    said = {line.line_id: line.minutes for line in lines}
    shared_by = hours_shared([said.get(line.pk) for line in agreed])
    for line, share in zip(agreed, shares, strict=True):
        _entry_write(visit, line, share, facts, shared_by)
    minutes_keep(visit, shares, lines)


def minutes_keep(visit: Visit, shares: list[LineShare], booked: Sequence[LineBooked]) -> None:
    """Let the minutes of each line be learnt from; lines that the crew did not name share what they did not book."""
    said = {line.line_id for line in booked if line.minutes is not None}
    open_lines = sum(share.line_id not in said for share in shares)
    spent = {
        share.line_id: (share.on_site_minutes, 1 if share.line_id in said else max(1, open_lines)) for share in shares
    }
    minutes_book(bookings_of([(visit, spent)]))


def visit_lines_write(
    visit: Visit, agreed: list[JobLine], shares: list[LineShare], booked: Sequence[LineBooked]
) -> None:
    """Write each service of a visit, with the minutes that the crew said, or none."""
    said = {line.line_id: line.minutes for line in booked}
    VisitLine.objects.bulk_create(
        VisitLine(
            visit=visit,
            service=line.service,
            job_line=line,
            minutes=said.get(line.pk),
            price_cents=share.price_cents,
            materials_cents=share.materials_cents,
        )
        for line, share in zip(agreed, shares, strict=True)
    )


def _entry_write(visit: Visit, line: JobLine, share: LineShare, facts: BookingFacts, shared_by: HoursShared) -> None:
    callback_of = visit.job.callback_of_id
    ledger.entry_record(
        kind=EntryKind.CALLBACK if callback_of else EntryKind.WORK,
        work_date=visit.work_date,
        service=line.service,
        job_ref=callback_of or visit.job_id,
        line_ref=line.pk,
        price_cents=share.price_cents,
        materials_cents=share.materials_cents,
        on_site_minutes=share.on_site_minutes,
        setup_minutes=share.setup_minutes,
        drive_minutes=share.drive_minutes,
        drive_metres=share.drive_metres,
        workers=visit.workers,
        wage_cents=share.wage_cents,
        vehicle_cents=share.vehicle_cents,
        crew_code=visit.crew_code,
        card_price_cents=line.card_price_cents,
        estimated_minutes=line.estimated_minutes,
        hours_shared=shared_by,
        facts=facts,
    )
