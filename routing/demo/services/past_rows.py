"""Three years of done work as rows: jobs, visits, the ledger, readings, intervals and the history of events."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

from jobs.customers.models import Property, Wall
from jobs.walkthroughs.models import ChalkReading
from jobs.work.choices import JobState
from jobs.work.domain.booking import LineAgreed, LineBooked, LineShare, VisitTotals, split_visit
from jobs.work.domain.intervals import next_due
from jobs.work.minutes import bookings_of
from jobs.work.models import Job, JobLine, ServiceInterval, Visit, VisitLine
from jobs.work.selectors import booking_facts
from pricing.catalogue.domain import Access, Soil
from pricing.catalogue.models import Service
from pricing.earnings.choices import EntryKind
from pricing.earnings.domain.facts import BookingFacts, hours_shared
from pricing.earnings.models import EarningEntry
from pricing.earnings.services import entries_record
from pricing.minutes.services import conditions_import, minutes_import
from routing.demo.domain.company import CREWS, WAGE_BURDEN_PERCENT
from routing.demo.domain.conditions import conditions_of_house
from routing.demo.domain.history import PastJob
from routing.demo.domain.offer import LineSpec, Offers
from routing.demo.domain.world import Story
from routing.demo.services.house_rows import BATCH, OFFICE_OPENS, at
from shared.events.models import Event
from shared.events.services import event_unsaved
from shared.units import cents_for_metres, round_half_up, share_out

CREW_BY_CODE = {crew.code: crew for crew in CREWS}
DAYS_FROM_CALL_TO_WORK = 12


@dataclass(frozen=True, slots=True)
class Rows:
    """What every part of the demo's work hangs on."""

    properties: Sequence[Property]
    services: Mapping[str, Service]
    walls: Mapping[tuple[int, str], Wall]
    offers: Offers

    @classmethod
    def of(cls, properties: Sequence[Property], offers: Offers) -> "Rows":
        """Read what was stored before."""
        services = {service.code: service for service in Service.objects.all()}
        walls = {(wall.property_id, wall.name): wall for wall in Wall.objects.filter(property__in=properties)}
        return cls(properties, services, walls, offers)

    def line(self, spec: LineSpec, job: Job) -> JobLine:
        """A job line at the price that was agreed, beside what the card asked."""
        return JobLine(
            job=job,
            service=self.services[spec.service],
            quantity=spec.quantity,
            price_cents=spec.price_cents,
            card_price_cents=self.offers[spec.service].price_cents(spec.quantity),
            materials_cents=spec.materials_cents,
            estimated_minutes=spec.estimated_minutes,
        )


def lines_store(rows: Rows, jobs: Sequence[Job], specs: Sequence[Sequence[LineSpec]]) -> list[list[JobLine]]:
    """Write the lines of many jobs with the walls they are for; in the order of the jobs."""
    lines = [[rows.line(spec, job) for spec in of_job] for job, of_job in zip(jobs, specs, strict=True)]
    JobLine.objects.bulk_create((line for of_job in lines for line in of_job), BATCH)
    through = JobLine.walls.through
    through.objects.bulk_create(
        (
            through(jobline_id=line.pk, wall_id=rows.walls[job.property_id, name].pk)
            for job, of_job, wanted in zip(jobs, lines, specs, strict=True)
            for line, spec in zip(of_job, wanted, strict=True)
            for name in spec.walls
        ),
        BATCH,
    )
    return lines


def past_store(rows: Rows, story: Story) -> None:
    """Write all that was done."""
    jobs = _jobs(rows, story.jobs)
    lines = lines_store(rows, jobs, [[line.spec for line in past.lines] for past in story.jobs])
    visits = Visit.objects.bulk_create(map(_visit, story.jobs, jobs), BATCH)
    shares = [_shares(past, of_job) for past, of_job in zip(story.jobs, lines, strict=True)]
    worked = list(zip(story.jobs, jobs, visits, lines, shares, strict=True))
    VisitLine.objects.bulk_create((row for each in worked for row in _visit_lines(*each)), BATCH)
    days = {job.pk: past.day for past, job in zip(story.jobs, jobs, strict=True)}
    facts = booking_facts(days)
    entries_record(row for each in worked for row in _entries(*each, facts))
    Event.objects.bulk_create((_done_event(past, job) for past, job in zip(story.jobs, jobs, strict=True)), BATCH)
    ServiceInterval.objects.bulk_create(_intervals(rows, story), BATCH)
    ChalkReading.objects.bulk_create(_readings(rows, story), BATCH)
    conditions_import({job.pk: _conditions(past.house) for past, job in zip(story.jobs, jobs, strict=True)})
    minutes_import(bookings_of((visit, _minutes_of(part)) for _past, _job, visit, _lines, part in worked))


def _conditions(house: int) -> tuple[Access, Soil]:
    found = conditions_of_house(house)
    return found.access, found.soil


def _minutes_of(shares: Sequence[LineShare]) -> dict[int, tuple[int, int]]:
    """The demo's crews book the minutes of each line."""
    return {share.line_id: (share.on_site_minutes, 1) for share in shares}


def _jobs(rows: Rows, past: Sequence[PastJob]) -> list[Job]:
    """First the jobs, then the free return visits, which point at them; in the order of `past`."""
    made: dict[str, Job] = {}
    for callbacks in (False, True):
        wanted = [job for job in past if job.is_callback == callbacks]
        stored = Job.objects.bulk_create((_job(rows, job, made.get(job.callback_of)) for job in wanted), BATCH)
        made |= {job.reference: row for job, row in zip(wanted, stored, strict=True)}
    return [made[job.reference] for job in past]


def _job(rows: Rows, past: PastJob, callback_of: Job | None) -> Job:
    days = 2 if callback_of else DAYS_FROM_CALL_TO_WORK
    return Job(
        reference=past.reference,
        property=rows.properties[past.house],
        state=JobState.DONE,
        source="callback" if callback_of else "",
        callback_of=callback_of,
        created_at=at(past.day - timedelta(days=days), OFFICE_OPENS),
    )


def _started_at(past: PastJob) -> datetime:
    return at(past.day, past.arrive_minute)


def _finished_at(past: PastJob) -> datetime:
    return at(past.day, past.arrive_minute + past.on_site_minutes)


def _visit(past: PastJob, job: Job) -> Visit:
    return Visit(
        job=job,
        work_date=past.day,
        crew_code=past.crew,
        workers=CREW_BY_CODE[past.crew].workers,
        arrived_at=_started_at(past),
        started_at=_started_at(past),
        finished_at=_finished_at(past),
        on_site_minutes=past.on_site_minutes,
        drive_minutes=past.drive_minutes,
        drive_metres=past.drive_metres,
        recorded_at=_finished_at(past),
    )


def _shares(past: PastJob, lines: Sequence[JobLine]) -> list[LineShare]:
    """Minutes, driving, wages and the truck by line, by the rule that bookings use."""
    crew = CREW_BY_CODE[past.crew]
    wages = Fraction(crew.wage_cents_per_hour * (past.on_site_minutes + past.drive_minutes), 60)
    totals = VisitTotals(
        past.on_site_minutes,
        drive_minutes=past.drive_minutes,
        drive_metres=past.drive_metres,
        wage_cents=round_half_up(wages * (100 + WAGE_BURDEN_PERCENT) / 100),
        vehicle_cents=cents_for_metres(crew.cents_per_km, past.drive_metres),
    )
    agreed = [LineAgreed(line.pk, line.price_cents, line.materials_cents, line.estimated_minutes) for line in lines]
    booked = [LineBooked(line.pk, done.minutes) for line, done in zip(lines, past.lines, strict=True)]
    return split_visit(totals, agreed, booked)


def _visit_lines(
    past: PastJob, job: Job, visit: Visit, lines: Sequence[JobLine], shares: Sequence[LineShare]
) -> Iterator[VisitLine]:
    for line, share in zip(lines, shares, strict=True):
        yield VisitLine(
            visit=visit,
            service=line.service,
            job_line=line,
            minutes=share.on_site_minutes,
            price_cents=share.price_cents,
            materials_cents=share.materials_cents,
        )


def _entries(
    past: PastJob,
    job: Job,
    visit: Visit,
    lines: Sequence[JobLine],
    shares: Sequence[LineShare],
    facts: Mapping[int, BookingFacts],
) -> Iterator[EarningEntry]:
    known = facts[job.callback_of_id].of_callback() if job.callback_of_id else facts[job.pk]
    shared_by = hours_shared([line.minutes for line in past.lines])
    for line, share in zip(lines, shares, strict=True):
        yield EarningEntry(
            kind=EntryKind.CALLBACK if past.is_callback else EntryKind.WORK,
            work_date=past.day,
            service=line.service,
            job_ref=job.callback_of_id or job.pk,
            line_ref=line.pk,
            price_cents=share.price_cents,
            materials_cents=share.materials_cents,
            on_site_minutes=share.on_site_minutes,
            drive_minutes=share.drive_minutes,
            drive_metres=share.drive_metres,
            workers=visit.workers,
            wage_cents=share.wage_cents,
            vehicle_cents=share.vehicle_cents,
            crew_code=past.crew,
            card_price_cents=line.card_price_cents,
            estimated_minutes=line.estimated_minutes,
            hours_shared=shared_by,
            **asdict(known),
            recorded_at=_finished_at(past),
        )
    if past.refund_cents and past.refunded_on:
        yield from _refunds(past, past.refunded_on, job, lines)


def _refunds(past: PastJob, on: date, job: Job, lines: Sequence[JobLine]) -> Iterator[EarningEntry]:
    parts = share_out(past.refund_cents, [line.price_cents for line in lines])
    for line, cents in zip(lines, parts, strict=True):
        yield EarningEntry(
            kind=EntryKind.REFUND,
            work_date=on,
            service=line.service,
            job_ref=job.pk,
            price_cents=-cents,
            reason="Not content with the result",
            recorded_at=at(on),
        )


def _done_event(past: PastJob, job: Job) -> Event:
    data = {"work_date": past.day.isoformat()}
    return event_unsaved(kind="job.done", subject=job, at=_finished_at(past), data=data)


def _intervals(rows: Rows, story: Story) -> Iterator[ServiceInterval]:
    """One for each service that a property ever had; house washes by the house's own habit."""
    last: dict[tuple[int, str], date] = {}
    for job in story.jobs:
        for line in job.lines if not job.is_callback else ():
            key = (job.house, line.spec.service)
            last[key] = max(job.day, last.get(key, job.day))
    for (house, code), day in last.items():
        service = rows.services[code]
        months = story.habits[house].interval_months if code == "house_wash" else service.interval_months
        if months:
            yield ServiceInterval(
                property=rows.properties[house],
                service=service,
                interval_months=months,
                last_done_on=day,
                next_due_on=next_due(day, months),
            )


def _readings(rows: Rows, story: Story) -> Iterator[ChalkReading]:
    for house, readings in story.readings.items():
        for spec in readings:
            yield ChalkReading(
                wall=rows.walls[rows.properties[house].pk, spec.wall],
                read_on=spec.on,
                reading=Decimal(spec.half_steps) / 2,
                days_since_rain=spec.days_since_rain,
            )
