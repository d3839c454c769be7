"""Writing to the ledger."""

from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction

from pricing.earnings.models import EarningEntry
from pricing.earnings.services import entries_record, entry_record, refund_record
from shared.errors import Refused
from shared.events.append_only import AppendOnlyError
from shared.events.models import Event
from tests.factories import make_earning, make_service

pytestmark = pytest.mark.django_db
DAY = date(2026, 5, 4)


def record(service, **over):
    values = {"work_date": DAY, "job_ref": 7, "price_cents": 300_00, "on_site_minutes": 90}
    return entry_record(service=service, **{**values, **over})


def test_an_entry_keeps_what_was_booked():
    """All that the report needs is on the row."""
    wash = make_service()
    entry = record(wash, line_ref=3, drive_minutes=12, drive_metres=9_000, wage_cents=85_00, workers=3)
    entry.refresh_from_db()
    assert (entry.kind, entry.service, entry.line_ref, entry.workers) == ("work", wash, 3, 3)
    assert (entry.drive_minutes, entry.drive_metres, entry.wage_cents) == (12, 9_000, 85_00)


def test_an_entry_is_never_changed():
    """Neither through the model, nor through a query set, nor in the database itself."""
    entry = record(make_service())
    with pytest.raises(AppendOnlyError):
        entry.save()
    with pytest.raises(AppendOnlyError):
        entry.delete()
    with pytest.raises(AppendOnlyError):
        EarningEntry.objects.update(price_cents=1)
    with pytest.raises(Exception, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE earnings_earningentry SET price_cents = 1")
    entry.refresh_from_db()
    assert entry.price_cents == 300_00


@pytest.mark.parametrize(
    "wrong",
    [
        {"on_site_minutes": -1},
        {"drive_minutes": -1},
        {"workers": 0},
        {"kind": "gift"},
        {"kind": "refund", "price_cents": -5},
        {"kind": "refund", "price_cents": 5, "on_site_minutes": 0},
    ],
)
def test_impossible_entries_are_refused(wrong):
    """Time does not run backwards outside corrections; a refund is money back and no time."""
    with pytest.raises(ValidationError):
        record(make_service(), **wrong)
    assert not EarningEntry.objects.exists()


def test_the_database_refuses_them_too():
    """Many at once pass no form; the constraint holds them."""
    with pytest.raises(IntegrityError), transaction.atomic():
        entries_record(
            [EarningEntry(service=make_service(), work_date=DAY, job_ref=1, price_cents=1, on_site_minutes=-1)]
        )


def test_a_correction_may_take_time_away():
    """Ninety minutes booked, forty meant."""
    wash = make_service()
    record(wash)
    record(wash, kind="correction", price_cents=0, on_site_minutes=-50, reason="mistyped")
    assert sum(EarningEntry.objects.values_list("on_site_minutes", flat=True)) == 40


def test_a_return_visit_counts_against_the_kind_that_caused_it():
    """The visit washes the windows, but the job was a house wash and gutters: the larger of the two bears it."""
    wash, gutters, windows = make_service(), make_service(), make_service()
    record(wash, price_cents=500_00)
    record(gutters, price_cents=200_00)
    assert record(windows, kind="callback", price_cents=0).service == wash
    assert record(gutters, kind="callback", price_cents=0).service == gutters


def test_a_return_visit_to_a_job_of_old_keeps_its_own_kind():
    """A job from before the ledger has no entries to look at."""
    windows = make_service()
    assert record(windows, kind="callback", price_cents=0).service == windows


def test_a_refund_has_a_reason_and_an_actor(office):
    """Money back is an entry of its own and an event."""
    entry = make_earning(job_ref=7)
    refund = refund_record(
        work_date=DAY, service=entry.service, job_ref=7, refund_cents=50_00, reason="streaks", actor=office
    )
    assert (refund.kind, refund.price_cents, refund.on_site_minutes) == ("refund", -50_00, 0)
    event = Event.objects.get(kind="earning.refunded")
    assert (event.actor, event.reason) == (office, "streaks")


@pytest.mark.parametrize("cents", [0, -1, 300_01])
def test_no_more_goes_back_than_came_in(office, cents):
    """Nothing, less than nothing, or more than was earned."""
    entry = make_earning(job_ref=7, price_cents=300_00)
    with pytest.raises(Refused):
        refund_record(work_date=DAY, service=entry.service, job_ref=7, refund_cents=cents, reason="x", actor=office)


def test_two_refunds_together_stay_within_what_was_earned(office):
    """The second sees the first."""
    entry = make_earning(job_ref=7, price_cents=300_00)
    values = {
        "work_date": DAY,
        "service": entry.service,
        "job_ref": 7,
        "refund_cents": 200_00,
        "actor": office,
    }
    refund_record(**values, reason="streaks")
    with pytest.raises(Refused):
        refund_record(**values, reason="again")
