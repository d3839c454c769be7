from collections.abc import Iterable
from dataclasses import asdict
from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from pricing.catalogue.models import Service
from pricing.earnings.choices import EntryKind
from pricing.earnings.domain.facts import BookingFacts
from pricing.earnings.models import EarningEntry
from shared.errors import Refused
from shared.events.services import event_record

BATCH = 500
NO_FACTS = BookingFacts()


@transaction.atomic
def entry_record(
    *,
    work_date: date,
    service: Service,
    job_ref: int,
    price_cents: int,
    on_site_minutes: int,
    line_ref: int | None = None,
    materials_cents: int = 0,
    setup_minutes: int = 0,
    drive_minutes: int = 0,
    drive_metres: int = 0,
    workers: int = 2,
    wage_cents: int = 0,
    vehicle_cents: int = 0,
    kind: str = EntryKind.WORK,
    crew_code: str = "",
    card_price_cents: int | None = None,
    estimated_minutes: int | None = None,
    hours_shared: str = "",
    facts: BookingFacts = NO_FACTS,
    reason: str = "",
) -> EarningEntry:
    """Add one line to the ledger, inside the caller's transaction.

    ``price_cents`` is before tax and after discounts. Minutes are those that the crew of ``workers`` spent; the
    driving is this line's part of the job's share (``driving_shares``). A free return visit (``kind`` callback)
    carries the ``job_ref`` of the job that caused it and is counted against that job's kind of work: its own
    ``service`` if the job had it, else the one that earned most on the job. ``facts`` are copied into the line.
    Raises ``ValidationError``.
    """
    entry = EarningEntry(
        kind=kind,
        work_date=work_date,
        service=_causing_service(job_ref, service) if kind == EntryKind.CALLBACK else service,
        job_ref=job_ref,
        line_ref=line_ref,
        price_cents=price_cents,
        materials_cents=materials_cents,
        on_site_minutes=on_site_minutes,
        setup_minutes=setup_minutes,
        drive_minutes=drive_minutes,
        drive_metres=drive_metres,
        workers=workers,
        wage_cents=wage_cents,
        vehicle_cents=vehicle_cents,
        crew_code=crew_code,
        card_price_cents=card_price_cents,
        estimated_minutes=estimated_minutes,
        hours_shared=hours_shared,
        **asdict(facts),
        reason=reason,
    )
    entry.full_clean()
    entry.save()
    return entry


def entries_record(entries: Iterable[EarningEntry]) -> int:
    """Add many ready lines at once (imports, the demo); the database checks them. Returns their number."""
    return len(EarningEntry.objects.bulk_create(entries, batch_size=BATCH))


@transaction.atomic
def refund_record(
    *, work_date: date, service: Service, job_ref: int, refund_cents: int, reason: str, actor: Any
) -> EarningEntry:
    """Book money given back (> 0) or a discount granted later, with its reason.

    Raises ``Refused`` if the job earned nothing with this service, or less than is to be given back.
    """
    earned = sum(EarningEntry.objects.filter(job_ref=job_ref, service=service).values_list("price_cents", flat=True))
    if refund_cents < 1 or refund_cents > earned:
        raise Refused(
            _("The refund must be more than nothing and at most what this service earned on the job."),
            earned_cents=earned,
        )
    entry = entry_record(
        work_date=work_date,
        service=service,
        job_ref=job_ref,
        price_cents=-refund_cents,
        on_site_minutes=0,
        kind=EntryKind.REFUND,
        reason=reason,
    )
    event_record(kind="earning.refunded", subject=entry, actor=actor, reason=reason, data={"job": job_ref})
    return entry


def _causing_service(job_ref: int, service: Service) -> Service:
    work = EarningEntry.objects.filter(job_ref=job_ref, kind=EntryKind.WORK)
    if work.filter(service=service).exists():
        return service
    largest = work.select_related("service").order_by("-price_cents", "id").first()
    return largest.service if largest else service
