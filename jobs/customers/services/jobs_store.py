"""What a batch of jobs' rows reads and writes, with a few queries for all of them."""

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from typing import Any

from django.db.models import Model, Q, Sum

from jobs.customers.domain.hours import Window
from jobs.work.domain.intervals import next_due
from jobs.work.minutes import bookings_of
from jobs.work.models import Job, JobLine, JobWindow, ServiceInterval, Visit, VisitLine
from jobs.work.selectors import booking_facts
from pricing.earnings.choices import EntryKind
from pricing.earnings.domain.facts import BookingFacts, HoursShared, hours_shared
from pricing.earnings.models import EarningEntry
from pricing.earnings.services import entries_record
from pricing.estimates.domain import prices_after_discount
from pricing.minutes.services import minutes_import
from shared.events.models import Event
from shared.events.services import event_unsaved

from .index import own_number


@dataclass(slots=True)
class Booked:
    """What the history and the ledger hold for a line that was done; None where it was not written down."""

    minutes: int | None = None
    materials_cents: int | None = None
    drive_minutes: int | None = None
    wage_cents: int | None = None


@dataclass(slots=True)
class KnownLine:
    """A line, what was booked for it, and the row of this file that spoke of it (0: none yet)."""

    line: JobLine
    booked: Booked | None = None
    said_by: int = 0


@dataclass(slots=True)
class KnownJob:
    """A job with everything that a row may touch. `visit` is the newest one; `is_fresh` one that this batch books."""

    job: Job
    lines: list[KnownLine] = field(default_factory=list)
    windows: set[Window] = field(default_factory=set)
    visit: Visit | None = None
    visit_is_fresh: bool = False


def load_jobs(property_ids: Iterable[int], references: Iterable[str]) -> list[KnownJob]:
    """The jobs at these properties, or with these references, oldest first."""
    numbers = [number for reference in references if (number := own_number(reference)) is not None]
    wanted = Q(property__in=list(property_ids)) | Q(reference__in=list(references)) | Q(pk__in=numbers)
    return known_jobs(
        Job.objects.filter(wanted).select_for_update(of=("self",)).select_related("callback_of").order_by("pk")
    )


def known_jobs(jobs: Iterable[Job]) -> list[KnownJob]:
    """Jobs with their lines, windows, newest visits and what was booked, in four queries."""
    known = {job.pk: KnownJob(job) for job in jobs}
    lines: dict[int, KnownLine] = {}
    for line in JobLine.objects.filter(job__in=known).order_by("pk"):
        line.job = known[line.job_id].job
        lines[line.pk] = KnownLine(line)
        known[line.job_id].lines.append(lines[line.pk])
    for window in JobWindow.objects.filter(job__in=known):
        known[window.job_id].windows.add(_window(window))
    for visit in Visit.objects.filter(job__in=known).order_by("work_date", "pk"):
        known[visit.job_id].visit = visit
    _load_booked(lines, {k.visit.pk for k in known.values() if k.visit is not None})
    return list(known.values())


def _window(window: JobWindow) -> Window:
    return Window(window.first_date, window.last_date, window.start_minute, window.end_minute, promised=window.promised)


def _load_booked(lines: dict[int, KnownLine], visit_ids: set[int]) -> None:
    for done in VisitLine.objects.filter(visit__in=visit_ids, job_line__in=lines):
        lines[done.job_line_id or 0].booked = Booked(done.minutes, done.materials_cents)
    sums = (
        EarningEntry.objects.filter(line_ref__in=lines, kind__in=(EntryKind.WORK, EntryKind.CALLBACK))
        .order_by("line_ref")
        .values("line_ref")
    )
    for row in sums.annotate(m=Sum("on_site_minutes"), d=Sum("drive_minutes"), w=Sum("wage_cents")):
        booked = lines[row["line_ref"] or 0].booked
        if booked is not None:
            booked.minutes, booked.drive_minutes, booked.wage_cents = row["m"], row["d"], row["w"]


@dataclass(slots=True)
class DoneLine:
    """A line that this batch books as done. `price_known` and `minutes` decide whether it counts for earnings."""

    known: KnownLine
    price_known: bool
    minutes: int | None
    materials_cents: int
    drive_minutes: int
    wage_cents: int


class JobChanges:
    """Gathers what the rows of a batch change, and writes it with one query for each kind of row."""

    def __init__(self, *, actor: Any, now: datetime) -> None:
        self.actor, self.now = actor, now
        self.new_jobs: list[KnownJob] = []
        self.new_lines: list[JobLine] = []
        self.changed_jobs: dict[int, KnownJob] = {}
        self.changed_lines: dict[int, JobLine] = {}
        self.changed_windows: dict[int, KnownJob] = {}
        self.visits: dict[int, tuple[KnownJob, list[DoneLine]]] = {}
        self.intervals: dict[tuple[int, int], ServiceInterval] = {}
        self.touched_intervals: set[tuple[int, int]] = set()
        self.steps: list[tuple[str, KnownJob]] = []

    def load_intervals(self, property_ids: Iterable[int]) -> None:
        """The intervals of these properties, to be moved."""
        for interval in ServiceInterval.objects.filter(property__in=list(property_ids)):
            self.intervals[interval.property_id, interval.service_id] = interval

    def move_interval(self, place: int, service: int, months: int | None, usual: int | None, done_on: Any) -> bool:
        """Set how often a service recurs, and move its due date if this was the latest time; whether it changed.

        `months` is what the row says, `usual` what the service says. Nothing happens where neither says anything.
        """
        interval = self.intervals.get((place, service))
        told = months or (interval.interval_months if interval else usual)
        if told is None:
            return False
        made = interval is None
        if interval is None:
            interval = ServiceInterval(property_id=place, service_id=service, interval_months=told)
            self.intervals[place, service] = interval
        last = max(filter(None, (interval.last_done_on, done_on)), default=None)
        if not made and (interval.interval_months, interval.last_done_on) == (told, last):
            return False
        interval.interval_months, interval.last_done_on = told, last
        interval.next_due_on = next_due(last, told)
        self.touched_intervals.add((place, service))
        return True

    def book(self, known: KnownJob, visit: Visit, done: DoneLine) -> None:
        """Add a done line to the visit that this batch books for the job."""
        known.visit, known.visit_is_fresh = visit, True
        self.visits.setdefault(id(known), (known, []))[1].append(done)

    def store(self) -> None:
        """Write everything."""
        Job.objects.bulk_create(known.job for known in self.new_jobs if known.job.callback_of is None)
        later = [known.job for known in self.new_jobs if known.job.callback_of is not None]
        for job in later:
            job.callback_of = job.callback_of  # takes over the id that the first job has now
        Job.objects.bulk_create(later)
        if self.changed_jobs:
            rows = [known.job for known in self.changed_jobs.values()]
            for job in rows:
                job.version += 1
            Job.objects.bulk_update(rows, ["reference", "state", "note", "discount_cents", "version"])
        self._store_lines()
        self._store_windows()
        self._store_visits()
        self._store_intervals()
        Event.objects.bulk_create(self._events())

    def _store_lines(self) -> None:
        for line in self.new_lines:
            line.job_id = line.job.pk
        JobLine.objects.bulk_create(self.new_lines)
        if self.changed_lines:
            names = ["quantity", "price_cents", "materials_cents", "estimated_minutes", "note"]
            JobLine.objects.bulk_update(self.changed_lines.values(), names)

    def _store_windows(self) -> None:
        new = {id(known) for known in self.new_jobs}
        old = [known.job.pk for known in self.changed_windows.values() if id(known) not in new]
        if old:
            JobWindow.objects.filter(job__in=old).delete()
        JobWindow.objects.bulk_create(
            JobWindow(
                job=known.job,
                first_date=window.first_date,
                last_date=window.last_date,
                start_minute=window.start_minute,
                end_minute=window.end_minute,
                promised=window.promised,
            )
            for known in self.changed_windows.values()
            for window in sorted(known.windows)
        )

    def _store_visits(self) -> None:
        for known, done in self.visits.values():
            assert known.visit is not None
            known.visit.job_id = known.job.pk
            known.visit.on_site_minutes = sum(line.minutes or 0 for line in done)
            known.visit.drive_minutes = sum(line.drive_minutes for line in done)
        Visit.objects.bulk_create(known.visit for known, _ in self.visits.values() if known.visit)
        parts = [part for known, done in self.visits.values() for part in _parts(known, done)]
        VisitLine.objects.bulk_create(
            VisitLine(
                visit=known.visit,
                service_id=done.known.line.service_id,
                job_line_id=done.known.line.pk,
                minutes=done.minutes,
                price_cents=price,
                materials_cents=done.materials_cents,
            )
            for known, done, price in parts
        )
        self._store_entries([part for part in parts if _counts(part[0], part[1])])
        visits = ((known.visit, _minutes(done)) for known, done in self.visits.values() if known.visit)
        minutes_import(bookings_of(visits))

    def _store_entries(self, parts: list[tuple[KnownJob, DoneLine, int]]) -> None:
        worked: dict[int, date] = {}
        for known, _, _ in parts:
            assert known.visit is not None
            cause = _cause(known.job)
            worked[cause] = min(known.visit.work_date, worked.get(cause, known.visit.work_date))
        facts = booking_facts(worked)
        shared = {id(known): hours_shared([line.minutes for line in done]) for known, done in self.visits.values()}
        entries_record(_entry(*part, facts[_cause(part[0].job)], shared[id(part[0])]) for part in parts)

    def _store_intervals(self) -> None:
        touched = [self.intervals[key] for key in sorted(self.touched_intervals)]
        old = [interval for interval in touched if interval.pk]
        ServiceInterval.objects.bulk_create(interval for interval in touched if not interval.pk)
        if old:
            ServiceInterval.objects.bulk_update(old, ["interval_months", "last_done_on", "next_due_on"])

    def _events(self) -> Iterator[Event]:
        yield from (self._event("job.created", known.job) for known in self.new_jobs)
        yield from (self._event("job.changed", known.job) for known in self.changed_jobs.values())
        yield from (self._event(kind, known.job) for kind, known in self.steps)

    def _event(self, kind: str, row: Model) -> Event:
        data = {"state": getattr(row, "state", "")}
        return event_unsaved(kind=kind, subject=row, at=self.now, actor=self.actor, reason="import", data=data)


def _minutes(done: list[DoneLine]) -> dict[int, tuple[int, int]]:
    """What each line took, booked for itself; nothing for lines whose time was not written down."""
    return {line.known.line.pk: (line.minutes, 1) for line in done if line.minutes}


def _parts(known: KnownJob, done: list[DoneLine]) -> list[tuple[KnownJob, DoneLine, int]]:
    """Each line with its price after its part of the job's discount."""
    prices = prices_after_discount([line.known.line.price_cents for line in done], known.job.discount_cents)
    return [(known, line, price) for line, price in zip(done, prices, strict=True)]


def _counts(known: KnownJob, done: DoneLine) -> bool:
    """Work enters the ledger when both its price and its time are known; a free return visit when its time is."""
    return bool(done.minutes) and (done.price_known or known.job.callback_of is not None)


def _cause(job: Job) -> int:
    """The job itself, or the one that its free return visit makes good."""
    return job.callback_of_id or job.pk


def _entry(known: KnownJob, done: DoneLine, price_cents: int, facts: BookingFacts, shared: HoursShared) -> EarningEntry:
    line, visit = done.known.line, known.visit
    assert visit is not None
    return EarningEntry(
        work_date=visit.work_date,
        service_id=line.service_id,
        kind=EntryKind.CALLBACK if known.job.callback_of else EntryKind.WORK,
        job_ref=_cause(known.job),
        line_ref=line.pk,
        price_cents=price_cents,
        materials_cents=done.materials_cents,
        on_site_minutes=done.minutes or 0,
        drive_minutes=done.drive_minutes,
        workers=visit.workers,
        wage_cents=done.wage_cents,
        card_price_cents=line.card_price_cents,
        estimated_minutes=line.estimated_minutes,
        hours_shared=shared,
        **asdict(facts.of_callback() if known.job.callback_of else facts),
    )
