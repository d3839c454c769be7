"""What waits for a price and what was done in the last year, for the preview of the next rate card. An edge."""

from collections.abc import Iterator, Mapping
from datetime import date, timedelta

from jobs.walkthroughs.selectors.places import place_facts
from jobs.work.minutes import USUAL
from jobs.work.models import Job, JobLine, Visit
from pricing.catalogue.domain import Circumstances, RateTerms
from pricing.catalogue.models import RateCard
from pricing.catalogue.selectors import card_terms, rate_terms
from pricing.estimates.calculation import Calculation, estimate_reckon
from pricing.estimates.choices import OPEN, EstimateState
from pricing.estimates.inputs import DriveFacts, WantedLine
from pricing.estimates.models import Estimate
from pricing.estimates.preview import AskedWork, PastLine, PastSums, PreviewRow, past_sums, preview_rows
from pricing.estimates.selectors import estimate_list
from pricing.estimates.views.gathering import MAY_BE_ESTIMATED
from pricing.minutes.selectors import conditions_of
from routing.plans.selectors.insertion import drive_share_at
from shared.web.present import today_here

MOST_SHOWN = 20  # of each, the newest
YEAR = timedelta(days=365)


def card_preview(*, draft: RateCard) -> list[PreviewRow]:
    """Leads without an open estimate, and open estimates, by the card in force and by the draft."""
    today = today_here()
    asked = [*_open_estimates(), *_leads(today)]

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


def past_year(*, draft: RateCard) -> list[PastSums]:
    """The work of the last year by both cards. Chalk and material of its walls are not looked up: a surcharge for them
    does not count as met."""
    today = today_here()
    return past_sums(_past(today), now=rate_terms(on=today), then=card_terms(card=draft))


def _past(today: date) -> Iterator[PastLine]:
    visits = Visit.objects.filter(work_date__gt=today - YEAR, work_date__lte=today, job__callback_of=None)
    driven = dict(visits.order_by("-pk").values_list("job_id", "drive_minutes"))
    said = conditions_of(job_refs=driven)
    lines = JobLine.objects.filter(job__in=visits.values("job"), price_cents__gt=0, quantity__gte=1)
    for code, job, quantity, storeys in lines.values_list(
        "service__code", "job_id", "quantity", "job__property__storeys"
    ):
        access, soil = said.get(job, USUAL)
        job_is = Circumstances(storeys=storeys, access=access, soil=soil, drive_minutes=driven[job])
        yield PastLine(code, job, quantity, job_is)


def _open_estimates() -> Iterator[AskedWork]:
    rows = list(estimate_list().filter(state__in=OPEN).prefetch_related("lines__service")[:MOST_SHOWN])
    jobs = Job.objects.select_related("property__customer").in_bulk([row.job_ref for row in rows])
    for row in rows:
        if row.job_ref in jobs:
            yield _estimate(row, jobs[row.job_ref])


def _estimate(row: Estimate, job: Job) -> AskedWork:
    facts = place_facts(place=job.property, job=job)
    wanted = [
        WantedLine(line.service, line.quantity, tuple(wall for wall in facts.walls if wall.wall_ref in line.wall_refs))
        for line in row.lines.all()
    ]
    drive = DriveFacts(row.drive_minutes, row.drive_metres, row.drive_basis, row.drive_days, row.drive_source)
    return AskedWork(row.job_ref, row.pk, facts, drive, wanted, is_sent=row.state == EstimateState.SENT)


def _leads(today: date) -> Iterator[AskedWork]:
    estimated = Estimate.objects.filter(state__in=OPEN).values("job_ref")
    leads = Job.objects.filter(state__in=MAY_BE_ESTIMATED, lines__isnull=False).exclude(pk__in=estimated).distinct()
    for job in (
        leads.select_related("property__customer").prefetch_related("lines__service").order_by("-pk")[:MOST_SHOWN]
    ):
        wanted = [WantedLine(line.service, line.quantity) for line in job.lines.all()]
        drive = drive_share_at(place=job.property, today=today)
        yield AskedWork(job.pk, None, place_facts(place=job.property, job=job), drive, wanted)
