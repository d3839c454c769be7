from collections.abc import Sequence
from datetime import date
from fractions import Fraction
from typing import Any

from django.db import transaction
from django.db.models import Sum
from django.utils.translation import gettext as _

from jobs.work.domain.booking import LineBooked, LineShare, VisitTotals, split_visit
from jobs.work.models import Job, JobLine, Visit
from jobs.work.services.steps import reason_require
from jobs.work.services.visits import bookable_require, line_agreed, minutes_keep, visit_lines_write
from pricing.earnings import services as ledger
from pricing.earnings.choices import EntryKind
from pricing.earnings.models import EarningEntry
from shared import clock
from shared.errors import Conflict, Refused
from shared.events.services import event_record
from shared.units import round_half_up, share_out

# What a correction may change in the ledger: everything that the crew, not the customer, causes.
CORRECTED = ("materials_cents", "on_site_minutes", "drive_minutes", "drive_metres", "wage_cents", "vehicle_cents")


@transaction.atomic
def visit_correct(
    *,
    visit: Visit,
    reason: str,
    on_site_minutes: int | None = None,
    lines: Sequence[LineBooked] = (),
    note: str | None = None,
    actor: Any = None,
) -> Visit:
    """Put right what was booked: a further visit that stands for the old one, and the differences in the ledger.

    What is None or left out stays as it was; wages follow the minutes. Raises ReasonMissing, Refused, and Conflict
    for a visit that was corrected before (correct the correction).
    """
    reason = reason_require(reason)
    if visit.corrections.exists():
        raise Conflict(_("This visit was corrected before. Correct the newest one."), visit=visit.pk)
    job, agreed = visit.job, list(visit.job.lines.select_related("service"))
    minutes = visit.on_site_minutes if on_site_minutes is None else on_site_minutes
    bookable_require(agreed, minutes, lines)
    newer = _visit_instead_of(visit, minutes, note, actor)
    so_far = _booked_so_far([line.pk for line in agreed])
    booked = _with_what_was_said(visit, lines)
    shares = split_visit(
        _totals(visit, minutes, so_far), [line_agreed(line) for line in agreed], booked, job.discount_cents
    )
    visit_lines_write(newer, agreed, shares, booked)
    for line, share in zip(agreed, shares, strict=True):
        _difference_write(newer, line, share, so_far.get(line.pk, {}), reason)
    minutes_keep(newer, shares, booked)
    event_record(kind="visit.corrected", subject=job, actor=actor, reason=reason, data={"visit": visit.pk})
    return newer


@transaction.atomic
def refund_record(*, job: Job, refund_cents: int, reason: str, on: date, actor: Any = None) -> list[EarningEntry]:
    """Give money back for work that was done: negative entries over its services, in proportion to what they earned.

    Raises ReasonMissing, Conflict for a job that earned nothing, Refused for more than it earned.
    """
    reason = reason_require(reason)
    earned = _earned_by_service(job)
    if not earned:
        raise Conflict(_("Nothing has been earned with this job that could be given back."), state=job.state)
    if not 1 <= refund_cents <= sum(earned.values()):
        raise Refused(_("A refund is more than nothing and at most what the job earned."), refund_cents=refund_cents)
    services = {line.service_id: line.service for line in job.lines.select_related("service")}
    entries = [
        ledger.refund_record(
            work_date=on, service=services[service], job_ref=job.pk, refund_cents=share, reason=reason, actor=actor
        )
        for service, share in zip(earned, share_out(refund_cents, list(earned.values())), strict=True)
        if share
    ]
    event_record(kind="job.refunded", subject=job, actor=actor, reason=reason, data={"refund_cents": refund_cents})
    return entries


def _earned_by_service(job: Job) -> dict[int, int]:
    rows = EarningEntry.objects.filter(job_ref=job.pk).order_by("service_id").values("service_id")
    return {row["service_id"]: row["cents"] for row in rows.annotate(cents=Sum("price_cents")) if row["cents"] > 0}


def _booked_so_far(line_ids: list[int]) -> dict[int | None, dict[str, int]]:
    """What the ledger holds for each line, earlier corrections included."""
    rows = EarningEntry.objects.filter(line_ref__in=line_ids).order_by("line_ref").values_list("line_ref")
    sums = rows.annotate(*(Sum(name) for name in CORRECTED))
    return {line: dict(zip(CORRECTED, values, strict=True)) for line, *values in sums}


def _totals(visit: Visit, minutes: int, so_far: dict[int | None, dict[str, int]]) -> VisitTotals:
    wages_before = sum(line["wage_cents"] for line in so_far.values())
    paid_before = visit.on_site_minutes + visit.drive_minutes
    return VisitTotals(
        on_site_minutes=minutes,
        drive_minutes=visit.drive_minutes,
        drive_metres=visit.drive_metres,
        wage_cents=round_half_up(Fraction(wages_before * (minutes + visit.drive_minutes), paid_before)),
        vehicle_cents=sum(line["vehicle_cents"] for line in so_far.values()),
    )


def _with_what_was_said(visit: Visit, lines: Sequence[LineBooked]) -> list[LineBooked]:
    """The corrected lines; where they say nothing, what the visit said before."""
    said = {line.line_id: line for line in lines}
    merged = []
    for before in visit.lines.all():
        now = said.get(before.job_line_id or 0, LineBooked(before.job_line_id or 0))
        merged.append(
            LineBooked(
                now.line_id,
                before.minutes if now.minutes is None else now.minutes,
                before.materials_cents if now.materials_cents is None else now.materials_cents,
            )
        )
    return merged


def _visit_instead_of(visit: Visit, minutes: int, note: str | None, actor: Any) -> Visit:
    newer = Visit(
        job=visit.job,
        work_date=visit.work_date,
        crew_code=visit.crew_code,
        workers=visit.workers,
        arrived_at=visit.arrived_at,
        started_at=visit.started_at,
        finished_at=visit.finished_at,
        on_site_minutes=minutes,
        drive_minutes=visit.drive_minutes,
        drive_metres=visit.drive_metres,
        note=visit.note if note is None else note,
        corrects=visit,
        recorded_by=actor,
        recorded_at=clock.now(),
    )
    newer.full_clean(exclude=["job", "corrects", "recorded_by"])
    newer.save()
    return newer


def _difference_write(visit: Visit, line: JobLine, share: LineShare, so_far: dict[str, int], reason: str) -> None:
    difference = {name: getattr(share, name) - so_far.get(name, 0) for name in CORRECTED}
    if not any(difference.values()):
        return
    on_site_minutes = difference.pop("on_site_minutes")
    booked = EarningEntry.objects.filter(line_ref=line.pk).select_related("service").order_by("id").first()
    ledger.entry_record(
        kind=EntryKind.CORRECTION,
        work_date=visit.work_date,
        service=booked.service if booked else line.service,
        job_ref=visit.job.callback_of_id or visit.job_id,
        line_ref=line.pk,
        price_cents=0,
        on_site_minutes=on_site_minutes,
        workers=visit.workers,
        crew_code=visit.crew_code,
        reason=reason[:200],
        **difference,
    )
