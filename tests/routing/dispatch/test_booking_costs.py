"""What a booked stop's driving costs."""

from datetime import UTC, date, datetime

import pytest

from pricing.earnings.models import EarningEntry
from routing.dispatch.services.booking import job_book
from tests.factories import make_crew, make_job

pytestmark = pytest.mark.django_db


def test_a_crew_with_its_own_car_is_reckoned_by_the_mileage_rate():
    """10 miles on 2 January 2026 at the IRS standard rate of 72.5 cents a mile: $7.25."""
    job = make_job(state="on_site")
    job_book(
        job=job,
        crew=make_crew(truck=None),
        work_date=date(2026, 1, 2),
        now=datetime(2026, 1, 2, 22, 0, tzinfo=UTC),
        on_site_minutes=90,
        drive_minutes=20,
        drive_metres=16_093,
    )
    assert EarningEntry.objects.get(job_ref=job.pk).vehicle_cents == 7_25
