"""Leads that were decided in the months before: at which price, and what the customers answered. Invented."""

import random
from datetime import date, datetime, timedelta

from jobs.work.choices import JobState
from jobs.work.inputs import NewLine
from jobs.work.models import Job
from jobs.work.services import job_create, job_decline
from pricing.triage.domain.leads import Advice, Judged, Lead
from pricing.triage.services import lead_decide, lead_outcome_record
from routing.demo.services.house_rows import OFFICE_OPENS, at

DECIDED = 60
# Price against the card in percent, and how many in a hundred say yes to it.
TRUE_SHARES = ((92, 85), (100, 72), (110, 55), (128, 30))


def decisions_store(*, today: date, seed: int) -> None:
    """The same seed and day give the same decisions: of jobs that were done later, and of further leads at the same
    houses whose customers said no."""
    rng = random.Random(f"{seed}:decisions")  # noqa: S311  no secret
    jobs = (
        Job.objects.filter(state=JobState.DONE, callback_of=None)
        .select_related("property")
        .prefetch_related("lines__service")
    )
    for number, job in enumerate(reversed(list(jobs.order_by("-pk")[:DECIDED]))):
        _decided(job, rng, at(today - timedelta(days=DECIDED + 20 - number), OFFICE_OPENS))


def _decided(done: Job, rng: random.Random, moment: datetime) -> None:
    percent, yes_of_100 = rng.choice(TRUE_SHARES)
    said_yes = rng.randrange(100) < yes_of_100
    job = done if said_yes else _refused(done, moment)
    card_cents = sum(line.price_cents for line in done.lines.all())
    advice = Advice.TAKE if percent <= 100 else Advice.TAKE_AT
    minutes = sum(line.estimated_minutes for line in done.lines.all())
    judged = Judged(Lead(job.pk, card_cents, card_cents, 0, minutes), advice, (), (), None, None)
    lead_decide(judged=judged, choice=advice.value, price_cents=card_cents * percent // 100, now=moment)
    if said_yes:
        lead_outcome_record(job_ref=job.pk, said_yes=True, now=moment + timedelta(days=rng.randint(0, 6)))
    else:
        job_decline(job=job, reason="too dear")


def _refused(done: Job, moment: datetime) -> Job:
    """A lead for the same work at the same house."""
    lines = [
        NewLine(line.service, line.price_cents, line.estimated_minutes, line.quantity, line.materials_cents)
        for line in done.lines.all()
    ]
    return job_create(property=done.property, lines=lines, created_at=moment, source="telephone")
