"""What waits for a price, gathered from leads and estimates for the preview of the next rate card. An edge."""

from collections.abc import Iterator, Mapping
from datetime import date

from jobs.walkthroughs.selectors.places import place_facts
from jobs.work.models import Job
from pricing.catalogue.domain import RateTerms
from pricing.catalogue.models import RateCard
from pricing.catalogue.selectors import card_terms, rate_terms
from pricing.estimates.calculation import Calculation, estimate_reckon
from pricing.estimates.choices import OPEN, EstimateState
from pricing.estimates.inputs import DriveFacts, WantedLine
from pricing.estimates.models import Estimate
from pricing.estimates.preview import AskedWork, PreviewRow, preview_rows
from pricing.estimates.selectors import estimate_list
from routing.plans.selectors.insertion import drive_share_at
from shared.web.present import today_here

MOST_SHOWN = 20  # of each, the newest


def card_preview(*, draft: RateCard) -> list[PreviewRow]:
    """Open leads and draft estimates by the card in force and by the draft."""
    today = today_here()
    asked = [*_drafts(), *_leads(today)]

    def reckon(work: AskedWork, rates: Mapping[str, RateTerms]) -> Calculation:
        return estimate_reckon(
            place=work.place,
            drive=work.drive,
            wanted=work.wanted,
            on=today,
            options=[range(len(work.wanted))],
            rates=rates,
        )

    return preview_rows(asked, now=rate_terms(on=today), then=card_terms(card=draft), reckon=reckon)


def _drafts() -> Iterator[AskedWork]:
    rows = list(estimate_list(state=EstimateState.DRAFT).prefetch_related("lines__service")[:MOST_SHOWN])
    jobs = Job.objects.select_related("property__customer").in_bulk([row.job_ref for row in rows])
    for row in rows:
        if row.job_ref in jobs:
            yield _draft(row, jobs[row.job_ref])


def _draft(row: Estimate, job: Job) -> AskedWork:
    facts = place_facts(place=job.property, job=job)
    wanted = [
        WantedLine(line.service, line.quantity, tuple(wall for wall in facts.walls if wall.wall_ref in line.wall_refs))
        for line in row.lines.all()
    ]
    drive = DriveFacts(row.drive_minutes, row.drive_metres, row.drive_basis, row.drive_days, row.drive_source)
    return AskedWork(row.job_ref, row.pk, facts, drive, wanted)


def _leads(today: date) -> Iterator[AskedWork]:
    estimated = Estimate.objects.filter(state__in=OPEN).values("job_ref")
    leads = Job.objects.filter(state="lead", lines__isnull=False).exclude(pk__in=estimated).distinct()
    for job in (
        leads.select_related("property__customer").prefetch_related("lines__service").order_by("-pk")[:MOST_SHOWN]
    ):
        wanted = [WantedLine(line.service, line.quantity) for line in job.lines.all()]
        drive = drive_share_at(place=job.property, today=today)
        yield AskedWork(job.pk, None, place_facts(place=job.property, job=job), drive, wanted)
