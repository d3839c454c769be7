"""What pages, programs and commands hand to this room from the rooms above it. An edge: only here do estimates look up
to properties, jobs and routes."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from django.db import transaction

from jobs.customers.models import Property
from jobs.walkthroughs.selectors.places import place_facts
from jobs.work.minutes import USUAL, conditions_at
from jobs.work.models import Job
from jobs.work.selectors import job_get
from jobs.work.services import NewLine, job_conditions_set, job_create
from pricing.catalogue.choices import Unit
from pricing.catalogue.domain import Access, Soil
from pricing.catalogue.models import Service
from pricing.estimates.calculation import Calculation, estimate_reckon
from pricing.estimates.inputs import PlaceFacts, WallFacts, WantedLine
from pricing.estimates.models import Estimate
from pricing.estimates.services import estimate_create
from pricing.minutes.selectors import conditions_of
from routing.plans.selectors.insertion import drive_share_at
from shared import clock
from shared.web.present import today_here

SHOWN_FROM = 2  # the chalk reading from which a wall's removal is offered; see jobs/walkthroughs/domain.py
MAY_BE_ESTIMATED = ("lead", "estimated")


def reckon(
    place: Property,
    wanted: Sequence[WantedLine],
    *,
    tax_millionths: int | None,
    options: Sequence[Sequence[int]] | None = None,
    job: Job | None = None,
    access: str = "",
    soil: str = "",
) -> Calculation:
    """The calculation for a property as of today. Access and soil that are not given are those said of the job, or of
    the newest job at the property. Raises Refused, NoTargetYet."""
    today, facts = today_here(), place_facts(place=place, job=job)
    return estimate_reckon(
        place=replace(facts, access=Access(access or facts.access), soil=Soil(soil or facts.soil)),
        drive=drive_share_at(place=place, today=today),
        wanted=wanted,
        on=today,
        tax_millionths=tax_millionths,
        options=options,
    )


@transaction.atomic
def make(
    place: Property, calculation: Calculation, *, job: Job | None, actor: Any, valid_until: date | None, note: str = ""
) -> Estimate:
    """Store a calculation for a lead, or for a new one at the property where `job` is None or past being estimated.

    What it took access and soil to be is then said of that job too, so that its minutes are learnt by it.
    """
    now = clock.now()
    if job is None or job.state not in MAY_BE_ESTIMATED:
        job = _new_lead(place, calculation, job, actor)
    _conditions_keep(job, calculation.place, actor)
    return estimate_create(
        calculation=calculation, job_ref=job.pk, now=now, valid_until=valid_until, note=note, actor=actor
    )


def _conditions_keep(job: Job, facts: PlaceFacts, actor: Any) -> None:
    found, own = (facts.access, facts.soil), conditions_of(job_refs=[job.pk]).get(job.pk)
    nobody_said = own is None and found == conditions_at(job.property) == USUAL
    if found != own and not nobody_said:
        job_conditions_set(job=job, access=facts.access, soil=facts.soil, actor=actor)


def _new_lead(place: Property, calculation: Calculation, found_on: Job | None, actor: Any) -> Job:
    """A lead with the lines of the first option, so that it counts as work that is asked for."""
    chosen = [calculation.lines[k] for k in calculation.options[0].lines]
    walls = {wall.pk: wall for wall in place.walls.all()}
    lines = [
        NewLine(
            service=line.wanted.service,
            quantity=line.quantity,
            price_cents=line.price.price_cents,
            card_price_cents=line.card_price_cents,
            materials_cents=line.materials_cents,
            estimated_minutes=line.expected.minutes,
            walls=[walls[wall.wall_ref] for wall in line.wanted.walls if wall.wall_ref in walls],
        )
        for line in chosen
    ]
    source = f"found on job {found_on.pk}" if found_on else ""
    return job_create(property=place, lines=lines, source=source, created_at=clock.now(), actor=actor)


def suggested(place: Property, facts: PlaceFacts, job: Job | None) -> list[WantedLine]:
    """What is usually offered here: the lead's services, or a wash of the walls; and, separately, chalk removal of the
    chalky walls and then of chalky shutters and doors."""
    lines = _asked_for(job) or _washes(facts)
    known = {line.service.pk for line in lines}
    removal = Service.objects.filter(removes_chalk=True, is_offered=True, unit=Unit.WALL_SQFT).order_by("pk").first()
    if removal is None or removal.pk in known:
        return lines
    return [*lines, *_removals(removal, facts)]


def _asked_for(job: Job | None) -> list[WantedLine]:
    if job is None or job.state not in MAY_BE_ESTIMATED:
        return []
    return [WantedLine(line.service, line.quantity) for line in job_get(pk=job.pk).lines.all()]


def _washes(facts: PlaceFacts) -> list[WantedLine]:
    wash = Service.objects.filter(removes_chalk=False, is_offered=True, unit=Unit.WALL_SQFT).order_by("pk").first()
    return [WantedLine(wash)] if wash and facts.walls else []


def _removals(removal: Service, facts: PlaceFacts) -> list[WantedLine]:
    chalky = [wall for wall in facts.walls if wall.chalk is not None and wall.chalk >= SHOWN_FROM and wall.area_sqft]
    groups: Mapping[bool, list[WallFacts]] = {
        is_face: [wall for wall in chalky if (wall.kind == "face") == is_face] for is_face in (True, False)
    }
    return [WantedLine(removal, walls=tuple(walls), separately=True) for walls in groups.values() if walls]
