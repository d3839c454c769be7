"""What rows of a jobs' file mean for the rows that are stored."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any, NoReturn

from django.utils.translation import gettext

from jobs.customers.domain.columns import Columns, Field
from jobs.customers.domain.dates import DateOrder
from jobs.customers.domain.faults import N_, Fault
from jobs.customers.domain.identity import digest
from jobs.customers.domain.job_rows import JobRow, KnownService, read_job_row, service_words
from jobs.customers.domain.reading import Habits
from jobs.customers.domain.tables import Row
from jobs.customers.domain.vocabulary import CUSTOMER_FIELDS, JOB_FIELDS
from jobs.customers.models import Property
from jobs.work.models import Job
from pricing.catalogue.models import Service
from pricing.catalogue.selectors import rate_terms
from shared import clock
from shared.company.models import Company

from .importing import Answer, Outcome, Refusal
from .index import CustomerIndex, own_number, own_reference
from .job_differences import (
    COLUMN_OF,
    ON_A_PLAN,
    OPEN,
    done_line,
    history_differences,
    is_reachable,
    job_differences,
    job_line,
    line_differences,
    new_job,
    new_visit,
    said_of_interval,
    said_of_job,
    token_of,
)
from .job_terms import line_terms
from .jobs_store import JobChanges, KnownJob, KnownLine, load_jobs
from .places import PlaceFinder
from .said import SaidBefore, Thing


class JobsImporter:
    """See `Importer` in importing.py."""

    kind = "jobs"
    fields: Sequence[Field] = JOB_FIELDS
    elsewhere: Sequence[Field] = CUSTOMER_FIELDS
    date_fields: Sequence[str] = ("done_on", "promised", "possible_dates", "first_date", "last_date")

    def __init__(self, *, company: Company, actor: Any, now: datetime, today: date) -> None:
        self.company, self.actor, self.now, self.today = company, actor, now, today
        self.index = CustomerIndex()
        self.from_card = self.without_hours = self.without_days = 0
        self.said = SaidBefore()
        # Names that a file from another database gave to jobs, with the property: the ids that they have here.
        self.foreign: dict[tuple[str, int], int] = {}
        self.lines_said: dict[int, int] = {}

    def begin(self, columns: Columns, date_orders: Mapping[str, DateOrder]) -> None:
        self.columns = columns
        self.habits = Habits(self.company.country, self.company.currency, self.today, date_orders)
        self.services = {service.code: service for service in Service.objects.all()}
        self.known_services = {
            code: KnownService(code, service.name, service.name_es, service.unit)
            for code, service in self.services.items()
        }
        self.words = service_words(list(self.known_services.values()))
        self.rates = rate_terms(on=self.today)
        self.index.load()
        self.said.forget_batch()

    def read(self, row: Row) -> JobRow | list[Fault]:
        return read_job_row(row, self.columns, self.habits, self.known_services, self.words)

    def belongs_to(self, row: JobRow, before: JobRow) -> bool:
        return bool(row.reference) and row.reference == before.reference

    def notes(self) -> tuple[str, ...]:
        counted = (
            (self.from_card, gettext("rows whose price, materials or minutes come from the rate card: %(count)d")),
            (
                self.without_hours,
                gettext("done rows without price or minutes, used for due dates only: %(count)d"),
            ),
            (self.without_days, gettext("agreed jobs without possible days, not to be planned yet: %(count)d")),
        )
        return tuple(text % {"count": count} for count, text in counted if count)

    def apply(self, rows: Sequence[JobRow]) -> list[Answer]:
        self.changes = JobChanges(actor=self.actor, now=self.now)
        self.finder = PlaceFinder(self.index, self.columns)
        self.finder.look_up(row.place for row in rows)
        places = list(self.finder.properties)
        self.jobs: dict[int, list[KnownJob]] = {}
        self.named: dict[str, KnownJob] = {}
        for known in load_jobs(places, {row.reference for row in rows if row.reference}):
            self._learn(known)
        self.changes.load_intervals(places)
        self.called: dict[tuple[str, int], KnownJob] = {}
        answers: list[Answer] = [self._one(row) for row in rows]
        fresh = [(known, token_of(known)) for known in self.changes.new_jobs]
        self.changes.store()
        for known, token in fresh:
            self.said.rename(("job", token), ("job", token_of(known)))
        self.said.keep()
        own = {name: known for name, known in self.called.items() if own_number(name[0]) is not None}
        self.foreign |= {name: known.job.pk for name, known in own.items()}
        lines = (line for jobs in self.jobs.values() for known in jobs for line in known.lines)
        self.lines_said |= {line.line.pk: line.said_by for line in lines if line.said_by}
        return answers

    def _learn(self, known: KnownJob) -> None:
        """Make a job findable by its property, its reference and the name that an export gives it."""
        self.jobs.setdefault(known.job.property_id, []).append(known)
        if known.job.reference:
            self.named[known.job.reference] = known
        if known.job.pk:
            self.named[own_reference(known.job)] = known
        for line in known.lines:
            line.said_by = self.lines_said.get(line.line.pk or 0, line.said_by)

    def _one(self, row: JobRow) -> Answer:
        try:
            place = self.finder.find(row.place)
        except Refusal as refusal:
            return [refusal.fault]
        try:
            return self._taken(row, place)
        except Refusal as refusal:
            self.said.refuse(self._spoken_of(row, place), row.number)
            return [refusal.fault]

    def _taken(self, row: JobRow, place: Property) -> Outcome:
        known = self._job(row, place)
        self._agrees(row, known, place)
        if known is None:
            return self._created(row, place)
        line = self._line(row, known)
        if known.job.state == "done":
            return self._in_history(row, known, line, place)
        return self._changed(row, known, line, place)

    def _spoken_of(self, row: JobRow, place: Property) -> list[Thing]:
        """Everything by which a row could find or make a job."""
        days = {str(row.done_on or "open")}
        if any(known.job.state in OPEN for known in self.jobs.get(place.pk, [])):
            days.add("open")
        work: list[Thing] = [("work", digest(place.pk, row.service, day)) for day in sorted(days)]
        return [*work, ("job_ref", digest(row.reference))] if row.reference else work

    def _not_after_a_refused_row(self, row: JobRow, place: Property) -> None:
        earlier = self.said.refused(self._spoken_of(row, place))
        if earlier is not None:
            self._refuse("", "", N_("Row %(row)d, which may be about the same job, was refused."),
                         N_("Correct that row, then import both again."), row=earlier)  # fmt: skip

    # --- which job is meant ---

    def _job(self, row: JobRow, place: Property) -> KnownJob | None:
        known = self.named.get(row.reference)
        if known is not None and known.job.property_id != place.pk:
            self._refuse("job_ref", row.reference, N_("This job is at another property."),
                         N_("Correct the reference or the property."))  # fmt: skip
        if known is not None:
            return known
        if own_number(row.reference) is None:
            return self._by_nature(row, place)
        # Our number, but not of a job of ours: a file from another database. Its rows still belong together.
        return self._called(row.reference, place) or self._by_nature(row, place)

    def _makes_good(self, row: JobRow, place: Property) -> Job | None:
        """The job that a free return visit makes good; of a second one, the first job too."""
        if not row.callback_of:
            return None
        first = self._called(row.callback_of, place)
        if first is None or first.job.property_id != place.pk:
            self._refuse("callback_of", row.callback_of, N_("No job at this property has this reference."),
                         N_("Import that job first, or correct the reference."))  # fmt: skip
        if row.price_cents:
            self._refuse("price", row.price_cents, N_("A free return visit has no price."),
                         N_("Leave the price empty, or the column that names the first job."))  # fmt: skip
        return first.job.callback_of or first.job

    def _called(self, reference: str, place: Property) -> KnownJob | None:
        """A job by its reference, or by the name that a file from another database gave it earlier on."""
        number = self.foreign.get((reference, place.pk))
        there = (known for known in self.jobs.get(place.pk, []) if number is not None and known.job.pk == number)
        return self.named.get(reference) or self.called.get((reference, place.pk)) or next(there, None)

    def _by_nature(self, row: JobRow, place: Property) -> KnownJob | None:
        """Without a reference: the same service at the same property, done on that day or still open."""
        service = self.services[row.service].pk
        adopted = bool(row.reference) and own_number(row.reference) is None
        there = [
            known
            for known in self.jobs.get(place.pk, [])
            if (known.job.callback_of is not None) is bool(row.callback_of)
            and any(line.line.service_id == service for line in known.lines)
            and not (adopted and known.job.reference)
        ]
        fitting = [known for known in there if self._same_state(row, known)] or [
            known for known in there if self._may_become(row, known)
        ]
        if len(fitting) > 1:
            self._refuse("job_ref", row.reference, N_("Several jobs of this service at this property fit."),
                         N_("Which one is it? Write its reference as job_ref; an export shows it."))  # fmt: skip
        spoken_for = self.said.rows_about(("job", token_of(fitting[0]))) if fitting else []
        if spoken_for and row.reference:
            return None
        if spoken_for:
            self._refuse("service", row.service, N_("Row %(row)d already stands for this job."),
                         N_("Is it the same work twice? Remove one row, or give each a reference as job_ref."),
                         row=spoken_for[0])  # fmt: skip
        return fitting[0] if fitting else None

    def _same_state(self, row: JobRow, known: KnownJob) -> bool:
        if row.state == "done":
            return known.job.state == "done" and known.visit is not None and known.visit.work_date == row.done_on
        return known.job.state == row.state or (row.state == "agreed" and known.job.state in ON_A_PLAN)

    def _may_become(self, row: JobRow, known: KnownJob) -> bool:
        """An open job may be what the row reports on; work done before it was written down is older history."""
        if known.job.state not in OPEN:
            return False
        written = clock.local_date(self.company.timezone, known.job.created_at)
        return row.done_on is None or row.done_on > written

    def _agrees(self, row: JobRow, known: KnownJob | None, place: Property) -> None:
        """Refuse a row that contradicts an earlier one about the job, or about how often the service recurs."""
        things: list[tuple[Thing, Mapping[str, Any]]] = [(self._interval_of(row, place), said_of_interval(row))]
        if known is not None:
            things.append((("job", token_of(known)), said_of_job(row)))
        for thing, fields in things:
            earlier = self.said.contradicted(thing, fields)
            if earlier is not None:
                name, number = earlier
                self._refuse(name, fields[name], N_("Row %(row)d says something else here about the same job."),
                             N_("Which is right? Correct one of the two rows."), row=number)  # fmt: skip

    def _interval_of(self, row: JobRow, place: Property) -> Thing:
        return "interval", digest(place.pk, row.service)

    def _line(self, row: JobRow, known: KnownJob) -> KnownLine | None:
        """The line of the job that the row means: one of its service that no other row has spoken of."""
        service = self.services[row.service].pk
        free = [line for line in known.lines if line.line.service_id == service and not line.said_by]
        same = [line for line in free if not line_differences(row, line.line)]
        return next(iter(same or free), None)

    # --- what the row changes ---

    def _created(self, row: JobRow, place: Property) -> Outcome:
        if row.state in ON_A_PLAN:
            self._refuse("job_state", row.state, N_("A job comes onto a day plan by planning, not by an import."),
                         N_("Write agreed, and plan the day."))  # fmt: skip
        first = self._makes_good(row, place)
        self._not_after_a_refused_row(row, place)
        known = KnownJob(new_job(row, place, first, self.now))
        line = self._new_line(row, known, place)
        self._learn(known)
        self.changes.new_jobs.append(known)
        self._windows(row, known)
        if row.state == "done":
            self._book(row, known, line)
        elif row.state == "agreed" and not known.windows:
            self.without_days += 1
        self._interval(row, place)
        self._note(row, known, line)
        return Outcome.CREATED

    def _in_history(self, row: JobRow, known: KnownJob, line: KnownLine | None, place: Property) -> Outcome:
        """A job that is done: the row must say the same, or be a further line of what this batch books."""
        if row.state != "done" or known.visit is None or known.visit.work_date != row.done_on:
            self._history(row, "done_on")
        if known.visit_is_fresh:
            return self._further_line(row, known, line, place)
        if line is None:
            self._refuse("service", row.service, N_("This job is done and has no such line."),
                         N_("Put the rows of one job below each other, or book a further visit."))  # fmt: skip
        for name in history_differences(row, known, line):
            self._history(row, name)
        moved = self._interval(row, place)
        self._note(row, known, line)
        return Outcome.CHANGED if moved else Outcome.UNCHANGED

    def _further_line(self, row: JobRow, known: KnownJob, line: KnownLine | None, place: Property) -> Outcome:
        """A further line of a job that an earlier row of this batch books as done."""
        self._not_after_a_refused_row(row, place)
        made = line is None
        line = line or self._new_line(row, known, place)
        self._change(known, {}, line, {} if made else line_differences(row, line.line), made)
        self._book(row, known, line)
        self._interval(row, place)
        self._note(row, known, line)
        return Outcome.CREATED if known in self.changes.new_jobs else Outcome.CHANGED

    def _changed(self, row: JobRow, known: KnownJob, line: KnownLine | None, place: Property) -> Outcome:
        on_a_plan = known.job.state in ON_A_PLAN
        state = known.job.state if on_a_plan and row.state in ("agreed", *ON_A_PLAN) else row.state
        fields = job_differences(row, known.job, state)
        windows = bool(row.windows) and set(row.windows) != known.windows
        line_fields = line_differences(row, line.line) if line else {}
        if on_a_plan and (fields or windows or line_fields or line is None):
            self._refuse("job_state", known.job.state, N_("The job is on a day plan, and the row would change it."),
                         N_("Change it on the job's page, or take it off the plan first."))  # fmt: skip
        if state != known.job.state and not is_reachable(known.job.state, state):
            self._refuse("job_state", state, N_("A job that is %(old)s cannot become %(new)s."),
                         N_("Correct the state, or give the row a reference of its own."),
                         old=known.job.state, new=state)  # fmt: skip
        made = line is None
        if made or fields or windows or line_fields:
            self._not_after_a_refused_row(row, place)
        line = line or self._new_line(row, known, place)
        self._change(known, fields, line, line_fields, made)
        if windows:
            self._windows(row, known)
        if state == "done":
            self._book(row, known, line)
        moved = self._interval(row, place)
        self._note(row, known, line)
        touched = fields or windows or line_fields or made or moved
        return Outcome.CHANGED if touched else Outcome.UNCHANGED

    def _change(
        self, known: KnownJob, fields: dict[str, Any], line: KnownLine, line_fields: dict[str, Any], is_new_line: bool
    ) -> None:
        for name, value in fields.items():
            setattr(known.job, name, value)
        for name, value in line_fields.items():
            setattr(line.line, name, value)
        if line_fields and line.line.pk and not is_new_line:
            self.changes.changed_lines[line.line.pk] = line.line
        if known.job.pk and (fields or line_fields or is_new_line):
            self.changes.changed_jobs[known.job.pk] = known
        if "state" in fields:
            self.changes.steps.append((f"job.{fields['state']}", known))

    def _new_line(self, row: JobRow, known: KnownJob, place: Property) -> KnownLine:
        service = self.services[row.service]
        terms = line_terms(row, unit=service.unit, rate=self.rates.get(service.code), storeys=place.storeys)
        if isinstance(terms, Fault):
            raise Refusal(self.columns.heading(terms.column), "", terms.problem, terms.what_to_do)
        self.from_card += terms.from_card
        line = KnownLine(job_line(row, known.job, service, terms))
        known.lines.append(line)
        self.changes.new_lines.append(line.line)
        return line

    def _windows(self, row: JobRow, known: KnownJob) -> None:
        if row.windows:
            known.windows = set(row.windows)
            self.changes.changed_windows[id(known)] = known

    def _book(self, row: JobRow, known: KnownJob, line: KnownLine) -> None:
        visit = known.visit if known.visit_is_fresh else None
        visit = visit or new_visit(row, known.job, self.actor, self.now)
        if row.price_cents is None or not row.minutes:
            self.without_hours += 1
        done = done_line(row, line)
        self.changes.book(known, visit, done)

    def _interval(self, row: JobRow, place: Property) -> bool:
        """Set how often the service recurs here, counted from the latest time in the whole history."""
        service = self.services[row.service]
        if row.callback_of or (row.done_on is None and row.interval_months is None):
            return False
        usual = service.interval_months if row.done_on else None
        last = max(filter(None, (row.done_on, *self._done_days(place, service))), default=None)
        return self.changes.move_interval(place.pk, service.pk, row.interval_months, usual, last)

    def _done_days(self, place: Property, service: Service) -> Iterator[date]:
        for known in self.jobs.get(place.pk, []):
            # A free return visit moves no due date.
            if known.job.state != "done" or known.visit is None or known.job.callback_of is not None:
                continue
            if any(line.line.service_id == service.pk for line in known.lines):
                yield known.visit.work_date

    def _note(self, row: JobRow, known: KnownJob, line: KnownLine) -> None:
        line.said_by = row.number
        self.called[row.reference, known.job.property.pk] = known
        self.said.note(("job", token_of(known)), said_of_job(row), row.number)
        self.said.note(self._interval_of(row, known.job.property), said_of_interval(row), row.number)

    def _history(self, row: JobRow, name: str) -> None:
        self._refuse(name, getattr(row, name, ""), N_("The history says something else about this job."),
                     N_("An import does not change what was done; correct the visit on the job's page."))  # fmt: skip

    def _refuse(self, name: str, value: object, problem: str, advice: str, **params: Any) -> NoReturn:
        column = self.columns.heading(COLUMN_OF.get(name, name)) if name else ""
        raise Refusal(column, value, problem, advice, **params)
