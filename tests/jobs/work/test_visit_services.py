"""Booking what really happened: history, ledger, next due dates, corrections, refunds."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from jobs.work import services
from jobs.work.domain.booking import LineBooked
from jobs.work.errors import ReasonMissing, StepRefused
from jobs.work.models import Job, ServiceInterval, Visit, VisitLine
from jobs.work.selectors import last_removal_on, last_removals, service_history
from pricing.earnings.models import EarningEntry
from shared.errors import Conflict, Refused
from shared.events.append_only import AppendOnlyError
from tests import factories

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 2)


def book(job: Job, **over: Any) -> Visit:
    fields = {"work_date": DAY, "on_site_minutes": 150, "crew_code": "A", "drive_minutes": 20, "drive_metres": 9000}
    fields |= {"wage_cents": 9_100, "vehicle_cents": 405, **over}
    return services.visit_record(job=job, **fields)


def sums(**wanted: Any) -> dict[str, int]:
    """The ledger's totals over the entries that fit."""
    names = ("price_cents", "materials_cents", "on_site_minutes", "drive_minutes", "drive_metres", "wage_cents")
    entries = list(EarningEntry.objects.filter(**wanted))
    return {name: sum(getattr(entry, name) for entry in entries) for name in (*names, "vehicle_cents")}


def two_lines(**over: Any) -> Job:
    wash, gutters = {"estimated_minutes": 100}, {"price_cents": 15_000, "materials_cents": 0, "estimated_minutes": 50}
    return factories.make_job(lines=[wash, gutters], **over)


def test_a_visit_writes_history_and_ledger() -> None:
    """One visit, one line of history and one entry per service, adding up to the visit."""
    job = two_lines(discount_cents=5_500)
    visit = book(job, note="gate was locked")
    assert (Job.objects.get(pk=job.pk).state, visit.note) == ("done", "gate was locked")
    entries = list(EarningEntry.objects.order_by("id"))
    assert [entry.kind for entry in entries] == ["work", "work"]
    assert [entry.on_site_minutes for entry in entries] == [100, 50]
    assert [entry.price_cents for entry in entries] == [36_000, 13_500]
    assert [line.price_cents for line in visit.lines.all()] == [36_000, 13_500]
    assert [line.minutes for line in visit.lines.all()] == [None, None]
    assert sums() == {
        "price_cents": 49_500,
        "materials_cents": 2_000,
        "on_site_minutes": 150,
        "drive_minutes": 20,
        "drive_metres": 9_000,
        "wage_cents": 9_100,
        "vehicle_cents": 405,
    }


def test_booked_minutes_and_materials_count() -> None:
    """What the crew says about a line goes into its entry and its history."""
    job = two_lines()
    wash, gutters = job.lines.all()
    visit = book(job, lines=[LineBooked(wash.pk, 120, 2_600), LineBooked(gutters.pk, 30)])
    assert list(EarningEntry.objects.order_by("id").values_list("on_site_minutes", "materials_cents")) == [
        (120, 2_600),
        (30, 0),
    ]
    assert [line.minutes for line in visit.lines.all()] == [120, 30]


@pytest.mark.parametrize(
    ("over", "words"),
    [
        ({"on_site_minutes": 0}, "how many minutes"),
        ({"lines": [LineBooked(-1, 5)]}, "not on this job"),
    ],
)
def test_unsound_bookings_are_refused(over: dict[str, Any], words: str) -> None:
    """Nothing is written, and the job stays open."""
    job = factories.make_job()
    with pytest.raises(Refused, match=words):
        book(job, **over)
    assert (Visit.objects.count(), Job.objects.get(pk=job.pk).state) == (0, "agreed")


def test_negative_minutes_are_refused() -> None:
    """Minutes booked for a line are not less than nothing."""
    job = factories.make_job()
    with pytest.raises(Refused, match="less than nothing"):
        book(job, lines=[LineBooked(job.lines.get().pk, -5)])


def test_times_out_of_order_write_nothing() -> None:
    """Finished before started is refused, and the state goes back with it."""
    job = factories.make_job()
    start = datetime(2026, 6, 2, 14, tzinfo=UTC)
    with pytest.raises(ValidationError):
        book(job, started_at=start, finished_at=start - timedelta(minutes=1))
    assert (Visit.objects.count(), Job.objects.get(pk=job.pk).state) == (0, "agreed")


def test_a_job_is_booked_once() -> None:
    """A second booking is refused in words."""
    job = factories.make_job()
    book(job)
    with pytest.raises(StepRefused, match="A job that is done cannot be booked as done"):
        book(Job.objects.get(pk=job.pk))
    assert EarningEntry.objects.count() == 1


def test_the_interval_moves() -> None:
    """Done on 31 August and due every six months: due on the last of February."""
    service = factories.make_service(interval_months=6)
    job = factories.make_job(lines=[{"service": service}])
    book(job, work_date=date(2026, 8, 31))
    interval = ServiceInterval.objects.get()
    assert (interval.last_done_on, interval.next_due_on) == (date(2026, 8, 31), date(2027, 2, 28))


def test_an_interval_of_its_own_is_kept() -> None:
    """A shady property that was set to nine months stays at nine."""
    service = factories.make_service(interval_months=12)
    job = factories.make_job(lines=[{"service": service}])
    ServiceInterval.objects.create(property=job.property, service=service, interval_months=9)
    book(job)
    assert ServiceInterval.objects.get().next_due_on == date(2027, 3, 2)


def test_late_paperwork_moves_nothing_back() -> None:
    """An older visit that is booked later leaves the newer date alone."""
    service = factories.make_service(interval_months=12)
    place = factories.make_property()
    for day in (DAY, date(2025, 6, 2)):
        book(factories.make_job(property=place, lines=[{"service": service}]), work_date=day)
    assert ServiceInterval.objects.get().last_done_on == DAY


def test_what_does_not_recur_gets_no_interval() -> None:
    """A service without a usual interval leaves none behind."""
    book(factories.make_job(lines=[{"service": factories.make_service(interval_months=None)}]))
    assert not ServiceInterval.objects.exists()


def test_a_free_return_visit_eats_the_first_jobs_hours() -> None:
    """Its time counts against the job that caused it, at no price; no due date moves."""
    first = factories.make_job()
    book(first)
    service = first.lines.get().service
    due = ServiceInterval.objects.get().next_due_on
    again = factories.make_job(
        property=first.property, callback_of=first, lines=[{"service": service, "price_cents": 0}]
    )
    book(again, work_date=date(2026, 6, 20), on_site_minutes=45)
    entry = EarningEntry.objects.get(kind="callback")
    assert (entry.job_ref, entry.service, entry.price_cents, entry.on_site_minutes) == (first.pk, service, 0, 45)
    assert ServiceInterval.objects.get().next_due_on == due


def test_history_is_append_only() -> None:
    """A visit and its lines cannot be changed or removed."""
    visit = book(factories.make_job())
    visit.note = "other"
    with pytest.raises(AppendOnlyError):
        visit.save()
    with pytest.raises(AppendOnlyError):
        VisitLine.objects.update(price_cents=0)


# --- corrections ---


def test_a_correction_stands_for_the_visit(office: Any) -> None:
    """The ledger then adds up to the corrected visit; price and due date are untouched."""
    job = two_lines()
    visit = book(job)
    newer = services.visit_correct(visit=visit, on_site_minutes=180, reason="forgot the deck", actor=office)
    after = sums(job_ref=job.pk)
    assert (after["on_site_minutes"], after["drive_minutes"], after["price_cents"]) == (180, 20, 55_000)
    assert after["wage_cents"] == round(9_100 * 200 / 170)
    assert (newer.corrects, newer.on_site_minutes) == (visit, 180)
    assert {line.visit for line in service_history(property=job.property)} == {newer}


def test_a_correction_can_be_corrected() -> None:
    """Each time the ledger follows the newest; what was corrected before is not corrected again."""
    job = factories.make_job()
    visit = book(job)
    newer = services.visit_correct(visit=visit, on_site_minutes=100, reason="typed wrong")
    services.visit_correct(visit=newer, on_site_minutes=90, reason="typed wrong again")
    assert sums()["on_site_minutes"] == 90
    with pytest.raises(Conflict, match="newest"):
        services.visit_correct(visit=visit, on_site_minutes=80, reason="late")


def test_a_correction_of_materials_leaves_minutes_alone() -> None:
    """What the correction does not say stays as it was booked."""
    job = two_lines()
    wash, gutters = job.lines.all()
    visit = book(job, lines=[LineBooked(wash.pk, 120), LineBooked(gutters.pk, 30)])
    services.visit_correct(visit=visit, lines=[LineBooked(wash.pk, materials_cents=9_900)], reason="second jug")
    assert sums(line_ref=wash.pk)["on_site_minutes"] == 120
    assert sums()["materials_cents"] == 9_900
    assert EarningEntry.objects.filter(kind="correction").count() == 1


def test_correcting_a_free_return_visit_stays_with_the_first_job() -> None:
    """The difference counts where the return visit was counted."""
    first = factories.make_job()
    book(first)
    again = factories.make_job(callback_of=first, lines=[{"price_cents": 0}])
    visit = book(again, on_site_minutes=45)
    services.visit_correct(visit=visit, on_site_minutes=60, reason="typed wrong")
    service = first.lines.get().service
    assert sums(job_ref=first.pk, service=service)["on_site_minutes"] == 150 + 60


def test_corrections_need_a_reason() -> None:
    """The history says why."""
    visit = book(factories.make_job())
    with pytest.raises(ReasonMissing):
        services.visit_correct(visit=visit, on_site_minutes=10, reason=" ")


# --- refunds ---


def test_a_refund_is_split_over_what_was_earned(owner: Any) -> None:
    """In proportion to the services' earnings, to the cent."""
    job = two_lines()
    book(job)
    entries = services.refund_record(job=job, refund_cents=11_000, reason="streaks", on=DAY, actor=owner)
    assert [entry.price_cents for entry in entries] == [-8_000, -3_000]
    assert sums(job_ref=job.pk)["price_cents"] == 44_000


def test_no_more_is_given_back_than_was_earned() -> None:
    """Earlier refunds count; a job that earned nothing has nothing to give back."""
    job = factories.make_job()
    with pytest.raises(Conflict, match="Nothing has been earned"):
        services.refund_record(job=job, refund_cents=1, reason="streaks", on=DAY)
    book(job)
    services.refund_record(job=job, refund_cents=30_000, reason="streaks", on=DAY)
    with pytest.raises(Refused, match="at most"):
        services.refund_record(job=job, refund_cents=10_001, reason="more streaks", on=DAY)
    services.refund_record(job=job, refund_cents=10_000, reason="the rest", on=DAY)


# --- chalk removals ---


def test_a_removal_counts_for_the_walls_it_names() -> None:
    """Named walls only; a line that names none counts for the whole property; the newest day wins."""
    removal = factories.make_service(removes_chalk=True)
    place = factories.make_property()
    north, south = (factories.make_wall(property=place) for _ in range(2))
    elsewhere = factories.make_wall()
    book(factories.make_job(property=place, lines=[{"service": removal, "walls": [north]}]))
    assert last_removals(wall_ids=[south.pk]) == {}
    ids = [north.pk, south.pk, elsewhere.pk]
    assert last_removals(wall_ids=ids) == {north.pk: DAY}
    whole = factories.make_job(property=place, lines=[{"service": removal}])
    book(whole, work_date=date(2026, 5, 1))
    assert last_removals(wall_ids=ids) == {north.pk: DAY, south.pk: date(2026, 5, 1)}
    assert last_removal_on(wall=elsewhere) is None


def test_a_wash_takes_off_no_chalk() -> None:
    """Only services that remove chalk count."""
    wall = factories.make_wall()
    book(factories.make_job(property=wall.property, lines=[{"walls": [wall]}]))
    assert last_removal_on(wall=wall) is None
