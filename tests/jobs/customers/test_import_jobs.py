"""Jobs' files taken in: open jobs with their days, the history with its due dates and earnings."""

import io
from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.customers.domain.dates import DateOrder
from jobs.customers.services import export_jobs, import_customers, import_jobs
from jobs.customers.services.index import own_reference
from jobs.work.models import Job, JobLine, JobWindow, ServiceInterval, Visit, VisitLine
from jobs.work.services import visit_record
from pricing.earnings.models import EarningEntry
from shared.events.models import Event
from tests.factories import make_customer, make_job, make_property, make_service, make_wall

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
TABLES = (Job, JobLine, JobWindow, Visit, VisitLine, ServiceInterval, EarningEntry)


@pytest.fixture
def wash():
    return make_service(code="house-wash", name="House wash", name_es="Lavado de casa", interval_months=12)


@pytest.fixture
def gutters():
    return make_service(code="gutters", name="Gutter clearing", unit="linear_ft", interval_months=6)


@pytest.fixture
def home(wash, gutters):
    customer = make_customer(name="Ann Example", reference="C-1", phone_e164="+16145550101")
    return make_property(customer=customer, reference="P-1", street="12 Elm Street")


def take(text: str, **over):
    return import_jobs(io.BytesIO(text.encode()), **{"dry_run": False, "actor": None, "now": NOW, **over})


def problems(report) -> dict[int, list[str]]:
    return {r.number: [fault.problem_text() for fault in r.faults] for r in report.refusals}


def everything() -> list[list[dict]]:
    return [list(model.objects.order_by("pk").values()) for model in TABLES]


def test_an_agreed_job_with_its_days(home):
    """Possible days, a promised day and hours become windows; price and minutes stay as written."""
    report = take(
        "Job no,Property no,Service,Sq Ft,Price,Minutes,Status,Promised,Possible dates,Window,Notes\n"
        'J-1,P-1,House wash,"1,800","$450.00",150,booked,2026-06-04,2026-06-08..2026-06-10; 2026-06-12,8-10,'
        "Call first\n"
    )
    assert (report.created, report.refused) == (1, 0), problems(report)
    job = Job.objects.get(reference="J-1")
    assert (job.state, job.property, job.note) == ("agreed", home, "Call first")
    line = job.lines.get()
    assert (line.quantity, line.price_cents, line.estimated_minutes) == (1800, 45_000, 150)
    windows = set(job.windows.values_list("first_date", "last_date", "start_minute", "end_minute", "promised"))
    assert windows == {
        (date(2026, 6, 4), date(2026, 6, 4), 480, 600, True),
        (date(2026, 6, 8), date(2026, 6, 10), 480, 600, False),
        (date(2026, 6, 12), date(2026, 6, 12), 480, 600, False),
    }


def test_history_moves_the_interval_and_fills_the_ledger(home, wash):
    """A done row is a visit, an entry with its hours, and a due date twelve months after the latest time."""
    report = take(
        "Name,Addr,Service,Last Done,Price,Minutes,Workers,Drive time,Materials,Wages\n"
        "Ann Example,12 Elm St,lavado de casa,5/13/2025,300,120,3,20,18.50,95\n"
        "Ann Example,12 Elm St,House wash,5/4/2024,280,110,,,,\n"
    )
    assert (report.created, report.date_orders) == (2, {"done_on": "mdy"}), problems(report)
    interval = ServiceInterval.objects.get()
    assert (interval.last_done_on, interval.next_due_on) == (date(2025, 5, 13), date(2026, 5, 13))
    visit = Visit.objects.get(work_date=date(2025, 5, 13))
    assert (visit.on_site_minutes, visit.workers, visit.job.state) == (120, 3, "done")
    entry = EarningEntry.objects.get(work_date=date(2025, 5, 13))
    assert (entry.price_cents, entry.on_site_minutes, entry.drive_minutes) == (30_000, 120, 20)
    assert (entry.workers, entry.materials_cents, entry.wage_cents, entry.service) == (3, 1_850, 9_500, wash)
    assert entry.line_ref == visit.job.lines.get().pk


def test_history_without_hours_counts_for_due_dates_only(home):
    """A sheet with nothing but dates feeds the due list, never the earnings, and the report says so."""
    report = take("Name,Addr,Service,Last Done\nAnn Example,12 Elm St,House wash,2025-05-13\n")
    assert report.created == 1
    assert ServiceInterval.objects.get().next_due_on == date(2026, 5, 13)
    assert not EarningEntry.objects.exists()
    assert "done rows without price or minutes, used for due dates only: 1" in report.notes


def test_lines_of_one_job_and_its_discount(home):
    """Rows with one reference are lines of one job; the discount is shared out over them in the ledger."""
    text = (
        "Job no,Property no,Service,Qty,Price,Discount,Minutes,Done\n"
        "J-1,P-1,House wash,1800,300,40,120,2025-05-13\n"
        "J-1,P-1,Gutter clearing,160,100,40,60,2025-05-13\n"
    )
    assert take(text).created == 2
    job = Job.objects.get()
    assert job.lines.count() == 2
    assert Visit.objects.get().on_site_minutes == 180
    assert list(EarningEntry.objects.order_by("pk").values_list("price_cents", flat=True)) == [27_000, 9_000]
    assert take(text).unchanged == 2


def test_twice_changes_nothing(home):
    """With and without references, open and done, the second import finds everything as it is."""
    text = (
        "Job no,Property no,Service,Qty,Price,Minutes,Status,Done,Promised\n"
        "J-1,P-1,House wash,1800,300,120,done,2025-05-13,\n"
        ",P-1,Gutter clearing,160,100,60,done,2025-05-13,\n"
        ",P-1,House wash,1800,310,125,agreed,,2026-06-04\n"
        ",P-1,Gutter clearing,160,100,60,declined,,\n"
        "J-5,P-1,Gutter clearing,160,100,60,agreed,,2026-06-05\n"
    )
    assert take(text).created == 5
    before, events = everything(), Event.objects.count()
    report = take(text)
    assert (report.unchanged, report.refused) == (5, 0), problems(report)
    assert everything() == before
    assert Event.objects.count() == events


def test_a_changed_open_job_is_updated_and_a_finished_one_booked(home):
    """The same job later in the file's life: other price, then done; the version moves with each change."""
    row = "Job no,Property no,Service,Qty,Price,Minutes,Status,Done\nJ-1,P-1,House wash,1800,{},120,{},{}\n"
    take(row.format(300, "agreed", ""))
    report = take(row.format(320, "agreed", ""))
    assert report.changed == 1
    assert take(row.format(320, "done", "2026-05-30")).changed == 1
    job = Job.objects.get()
    assert (job.state, job.version) == ("done", 3)
    assert EarningEntry.objects.get().price_cents == 32_000
    assert Event.objects.filter(kind="job.done").count() == 1
    assert take(row.format(320, "done", "2026-05-30")).unchanged == 1


def test_the_history_is_never_changed(home):
    """A row that contradicts what was done is refused, and nothing about the visit moves."""
    row = "Job no,Property no,Service,Qty,Price,Minutes,Status,Done\nJ-1,P-1,House wash,1800,{},{},{},{}\n"
    take(row.format(300, 120, "done", "2025-05-13"))
    before = everything()
    for other in ((310, 120, "done", "2025-05-13"), (300, 90, "done", "2025-05-13"), (300, 120, "done", "2025-05-14"),
                  (300, 120, "agreed", "")):  # fmt: skip
        report = take(row.format(*other))
        assert problems(report) == {2: ["The history says something else about this job."]}
    assert everything() == before


def test_the_same_work_twice_in_a_file_is_a_question(home):
    """Without references two equal rows cannot be told apart, so the second is asked about, each time."""
    text = (
        "Property no,Service,Price,Minutes,Done\nP-1,House wash,300,120,2025-05-13\nP-1,House wash,300,120,2025-05-13\n"
    )
    for outcome in ("created", "unchanged"):
        report = take(text)
        assert (getattr(report, outcome), report.refused) == (1, 1)
        assert problems(report) == {3: ["Row 2 already stands for this job."]}


def test_an_interval_counts_from_the_whole_history(home):
    """Said by a later row, it still starts from the day that an earlier row gave; two lengths are a question."""
    text = (
        "Property no,Service,Qty,Price,Minutes,Done,Interval\n"
        "P-1,House wash,1800,300,120,2025-05-13,\n"
        "P-1,House wash,1800,310,120,,9\n"
        "P-1,House wash,1800,290,120,2024-05-13,10\n"
    )
    report = take(text)
    assert problems(report) == {4: ["Row 3 says something else here about the same job."]}
    interval = ServiceInterval.objects.get()
    assert (interval.interval_months, interval.next_due_on) == (9, date(2026, 2, 13))
    assert (take(text).changed, ServiceInterval.objects.get()) == (0, interval)


def test_ambiguous_dates_are_asked_about_unless_something_decides(home):
    """4/5 alone is a question; a 13th in the column or the declared order answers it."""
    head = "Property no,Service,Price,Minutes,Done\n"
    row = "P-1,House wash,300,120,{}\n"
    report = take(head + row.format("4/5/2025"))
    assert problems(report) == {2: ["Is 4 the month or the day? No row of this column decides it."]}
    take(head + row.format("4/5/2025"), date_order=DateOrder.DAY_FIRST)
    assert Visit.objects.get().work_date == date(2025, 5, 4)
    take(head + row.format("7/8/2024") + row.format("13/8/2023"))
    assert set(Visit.objects.values_list("work_date", flat=True)) == {
        date(2025, 5, 4), date(2024, 8, 7), date(2023, 8, 13),
    }  # fmt: skip


def test_contradictory_columns_decide_nothing(home):
    """Where the column itself holds both orders, only the ambiguous rows are refused."""
    head = "Property no,Service,Price,Minutes,Done\n"
    dates = ("13/8/2023", "8/14/2024", "4/5/2025")
    report = take(head + "".join(f"P-1,House wash,300,120,{day}\n" for day in dates))
    assert (report.created, list(problems(report))) == (2, [4])


@pytest.mark.parametrize(
    ("row", "problem"),
    [
        ("P-9,,,House wash,300,60,,", "No property has this reference."),
        (",Nobody,1 Elm St,House wash,300,60,,", "No known customer fits."),
        (",Ann Example,99 Oak St,House wash,300,60,,", "No known customer fits."),
        ("P-1,,,Window tinting,300,60,,", "This is not one of the known words."),
        ("P-1,,,House wash,,60,,", "The price is missing, and the rate card cannot tell it without a quantity."),
        (
            "P-1,,,House wash,300,,,",
            "The minutes on site are missing, and the rate card cannot tell them without a quantity.",
        ),
        ("P-1,,,House wash,300,60,planned,", "A job comes onto a day plan by planning, not by an import."),
        ("P-1,,,House wash,300,60,done,", "It is empty."),
        ("P-1,,,House wash,300,60,,2027-01-01", "The day 2027-01-01 has not come yet."),
        (
            "P-1,,,House wash,300,60,agreed,2026-01-01",
            "The job is not done by its state, but has a date on which it was done.",
        ),
        (",,,House wash,300,60,,", "The row does not say whose property it is."),
    ],
)  # fmt: skip
def test_rows_that_do_not_fit_are_refused_with_the_reason(home, row, problem):
    """Each with one plain sentence, and nothing is stored."""
    report = take(f"Property no,Name,Address,Service,Price,Minutes,Status,Done\n{row}\n")
    assert problems(report) == {2: [problem]}
    assert not Job.objects.exists()


def test_the_customer_is_found_by_reference_when_it_has_one_property(home):
    """With several properties the street decides, and without it the row is a question."""
    text = "Cust No,Service,Price,Minutes\nC-1,House wash,300,60\n"
    assert take(text).created == 1
    make_property(customer=home.customer, street="1 Oak Ave")
    assert problems(take(text)) == {2: ["The customer has several properties that fit."]}


def test_the_rate_card_fills_in_what_an_open_job_leaves_empty(home, wash):
    """Price, materials and minutes come from the card in force, and the report says for how many rows."""
    from pricing.catalogue.models import Rate, RateCard

    card = RateCard.objects.create(effective_from=date(2026, 1, 1))
    Rate.objects.create(
        card=card, service=wash, price_cents_per_100_units=2500, minimum_price_cents=0,
        materials_cents_per_100_units=100, setup_minutes=20, units_per_crew_hour=1200, units_per_crew_hour_high=900,
    )  # fmt: skip
    report = take("Property no,Service,Sq Ft\nP-1,House wash,1800\n")
    line = JobLine.objects.get()
    assert (line.price_cents, line.materials_cents, line.estimated_minutes) == (45_000, 1_800, 110)
    assert line.card_price_cents == 45_000
    assert "rows whose price, materials or minutes come from the rate card: 1" in report.notes
    assert "agreed jobs without possible days, not to be planned yet: 1" in report.notes


def test_a_job_on_a_day_plan_is_left_alone(home, wash):
    """Unchanged rows pass; a row that would change it is refused and says where to change it."""
    make_job(property=home, reference="J-1", state="planned", lines=[{"service": wash, "price_cents": 30_000}])
    head = "Job no,Property no,Service,Price,Status\n"
    assert take(head + "J-1,P-1,House wash,300,agreed\n").unchanged == 1
    report = take(head + "J-1,P-1,House wash,310,agreed\n")
    assert problems(report) == {2: ["The job is on a day plan, and the row would change it."]}


def test_states_move_only_along_the_table(home):
    """A declined job does not come back by a file; a lead may become agreed."""
    row = "Job no,Property no,Service,Price,Minutes,Status\nJ-1,P-1,House wash,300,60,{}\n"
    take(row.format("lead"))
    assert take(row.format("agreed")).changed == 1
    assert take(row.format("called off")).changed == 1
    assert problems(take(row.format("agreed"))) == {2: ["A job that is called_off cannot become agreed."]}


def test_exports_come_back_unchanged(home, wash, gutters):
    """Open jobs with several windows, booked visits with shared minutes, jobs without a reference."""
    make_wall(property=home)
    windows = [
        {"first_date": date(2026, 6, 4), "last_date": date(2026, 6, 4), "start_minute": 480, "end_minute": 600}
        | {"promised": True},
        {"first_date": date(2026, 6, 8), "last_date": date(2026, 6, 12)},
        {"first_date": date(2026, 6, 15), "last_date": date(2026, 6, 15), "start_minute": 0, "end_minute": 725},
    ]  # fmt: skip
    make_job(
        property=home, lines=[{"service": wash}, {"service": gutters, "note": "=back"}], windows=windows, note="a\nb"
    )
    make_job(property=home, lines=[{"service": wash}], state="planned", reference="J-2", discount_cents=1_000)
    done = make_job(property=home, lines=[{"service": wash}, {"service": gutters}], discount_cents=5_001)
    visit_record(
        job=done, work_date=date(2026, 5, 1), on_site_minutes=181, drive_minutes=23, wage_cents=12_345, workers=3
    )
    make_job(property=make_property(), lines=[{"service": wash}], state="lead")
    make_job(property=home, lines=[{"service": wash}], state="called_off")
    out = io.StringIO(newline="")
    assert export_jobs(out) == 7
    before, events = everything(), Event.objects.count()
    report = take(out.getvalue())
    assert (report.rows, report.unchanged) == (7, 7), (problems(report), out.getvalue())
    assert everything() == before
    assert Event.objects.count() == events
    assert not report.columns.unknown


def test_a_free_return_visit(home, wash):
    """It earns nothing, counts against the first job, moves no due date, and comes back unchanged."""
    text = (
        "Job no,Property no,Service,Price,Minutes,Done,Callback of\n"
        "J-1,P-1,House wash,300,120,2025-05-13,\n"
        ",P-1,House wash,,45,2025-05-20,J-1\n"
        "J-9,P-1,House wash,,45,2025-05-20,J-7\n"
        "J-8,P-1,House wash,20,45,2025-05-21,J-1\n"
    )
    for outcome in ("created", "unchanged"):
        report = take(text)
        assert getattr(report, outcome) == 2, problems(report)
        assert problems(report) == {
            4: ["No job at this property has this reference."],
            5: ["A free return visit has no price."],
        }
    first, second = Job.objects.order_by("pk")
    assert second.callback_of == first
    assert list(EarningEntry.objects.order_by("pk").values_list("kind", "job_ref", "price_cents")) == [
        ("work", first.pk, 30_000),
        ("callback", first.pk, 0),
    ]
    assert ServiceInterval.objects.get().last_done_on == date(2025, 5, 13)
    out = io.StringIO(newline="")
    export_jobs(out)
    assert take(out.getvalue()).unchanged == 2


def test_an_export_fills_another_database(home, wash, gutters):
    """The export of one company's jobs, imported where its customers are known but its jobs are not."""
    done = make_job(property=home, lines=[{"service": wash}, {"service": gutters}])
    visit_record(job=done, work_date=date(2026, 5, 1), on_site_minutes=180, drive_minutes=20, wage_cents=10_000)
    out = io.StringIO(newline="")
    export_jobs(out)
    earned = [e["price_cents"] for e in EarningEntry.objects.order_by("pk").values()]
    text = out.getvalue().replace(own_reference(done), f"#{done.pk}-00000000").replace("2026-05-01", "2026-05-02")
    report = take(text)
    assert (report.created, report.refused) == (2, 0), problems(report)
    again = take(text)
    assert (again.unchanged, again.refused) == (2, 0), problems(again)
    fresh = Job.objects.exclude(pk=done.pk).get()
    assert fresh.lines.count() == 2
    assert [e.price_cents for e in EarningEntry.objects.filter(job_ref=fresh.pk).order_by("pk")] == earned


def test_a_dry_run_leaves_everything(home):
    """What would happen is counted, nothing is stored."""
    text = "Property no,Service,Price,Minutes,Done\nP-1,House wash,300,120,2025-05-13\n,House wash,1,1,\n"
    report = take(text, dry_run=True)
    assert (report.created, report.refused) == (1, 1)
    assert not any(everything())


def test_many_rows_with_few_queries(wash):
    """600 done rows for 200 customers: about three dozen queries for each 200 rows."""
    people = "Cust No,Name,Address\n" + "".join(f"C-{i},Person {i},{i} Elm St\n" for i in range(200))
    import_customers(io.BytesIO(people.encode()), dry_run=False, actor=None)
    rows = "".join(
        f"C-{i % 200},House wash,1800,300,120,20{22 + i // 200}-05-13\n" for i in range(600)
    )  # fmt: skip
    with CaptureQueriesContext(connection) as queries:
        report = take("Cust No,Service,Qty,Price,Minutes,Done\n" + rows)
    assert report.created == 600, problems(report)
    assert len(queries) <= 3 * 48
    assert ServiceInterval.objects.filter(last_done_on=date(2024, 5, 13)).count() == 200


@pytest.mark.parametrize(("role", "sees"), [("owner", True), ("office", False)])
def test_only_the_owners_file_holds_wages(client_of, owner, office, role, sees):
    """The office's file has no such column at all."""
    page = client_of({"owner": owner, "office": office}[role]).get("/customers/export/jobs/")
    file = page.content.decode("utf-8-sig")
    assert ("wages" in file.splitlines()[0].split(",")) == sees
