"""What the ledger keeps of a job beside its money and time."""

from datetime import date

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.domain.booking import LineBooked
from jobs.work.domain.town_parts import METRES_PER_DEGREE, town_part
from jobs.work.models import Job
from jobs.work.selectors import booking_facts
from jobs.work.services import visit_record
from pricing.earnings.domain.facts import BookingFacts, HoursShared, hours_shared
from pricing.earnings.models import EarningEntry
from tests.factories import MOMENT, make_customer, make_job, make_property

DAY = date(2026, 6, 1)


@pytest.mark.parametrize(
    ("north", "east", "part"),
    [
        (0, 0, "centre"),
        (1_500, 500, "centre"),
        (1_700, 0, "north"),
        (-3_000, 2_900, "south"),
        (2_000, 2_400, "east"),
        (100, -1_700, "west"),
    ],
)
def test_the_part_of_town(north, east, part):
    """A mile around the middle is the centre; beyond it the longer of the two ways names the side."""
    # At 60 degrees north a degree of longitude is half as long as one of latitude.
    place = (60.0 + north / METRES_PER_DEGREE, -82.0 + 2 * east / METRES_PER_DEGREE)
    assert town_part(place, (60.0, -82.0)) == part


@given(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5))
def test_a_place_on_the_other_side_lies_in_the_other_part(north, east):
    """The parts are alike on either side of the middle."""
    across = {"north": "south", "south": "north", "east": "west", "west": "east", "centre": "centre"}
    assert town_part((-north, -east), (0, 0)) == across[town_part((north, east), (0, 0))]


@pytest.mark.parametrize(
    ("booked", "how"),
    [([90], "alone"), ([None], "alone"), ([60, 30], "booked"), ([60, None], "estimated"), ([None, None], "estimated")],
)
def test_how_hours_were_shared(booked, how):
    """One line has nothing to share; one line that was not booked makes it an estimate."""
    assert hours_shared(booked) == HoursShared(how)


@pytest.mark.django_db
def test_a_booking_keeps_the_facts_of_its_day():
    """Storeys, city, part of town, source, new customer; and nothing of it changes when the house does."""
    place = make_property(storeys=2, city="Sampleton", latitude=40.0, longitude=-82.0)
    make_property(city="Sampleton", latitude=39.0, longitude=-82.0)  # the middle of the town lies between the two
    job = make_job(property=place, source="neighbour", lines=[{}, {}])
    visit_record(job=job, work_date=DAY, on_site_minutes=120, lines=[LineBooked(job.lines.first().pk, 50)])
    place.storeys = 3
    place.save()
    for entry in EarningEntry.objects.all():
        assert (entry.storeys, entry.city, entry.town_part) == (2, "Sampleton", "north")
        assert (entry.lead_source, entry.is_returning, entry.hours_shared) == ("neighbour", False, "estimated")
        assert not entry.facts_added_later


@pytest.mark.django_db
def test_a_customer_returns_who_was_visited_on_an_earlier_day():
    """The second job of a customer, at another house, is a returning one; two jobs of one day are both new."""
    customer = make_customer(source="sign on the truck")
    first, same_day, later = (make_job(property=make_property(customer=customer)) for _ in range(3))
    for job, day in ((first, DAY), (same_day, DAY), (later, date(2026, 6, 2))):
        visit_record(job=job, work_date=day, on_site_minutes=60)
    facts = booking_facts({first.pk: DAY, same_day.pk: DAY, later.pk: date(2026, 6, 2)})
    assert [facts[job.pk].is_returning for job in (first, same_day, later)] == [False, False, True]
    assert {fact.lead_source for fact in facts.values()} == {"sign on the truck"}


@pytest.mark.django_db
def test_a_free_return_visit_has_the_facts_of_its_cause():
    """It counts against the job that caused it, so it is no visit to a returning customer."""
    job = make_job(source="flyer")
    visit_record(job=job, work_date=DAY, on_site_minutes=60)
    again = make_job(property=job.property, callback_of=job, source="callback", lines=[{"price_cents": 0}])
    visit_record(job=again, work_date=date(2026, 6, 9), on_site_minutes=20)
    entry = EarningEntry.objects.get(kind="callback")
    assert (entry.job_ref, entry.lead_source, entry.is_returning) == (job.pk, "flyer", None)


@pytest.mark.django_db
def test_a_house_without_a_place_has_no_part_of_town():
    """Nothing is made up."""
    job = make_job(property=make_property(latitude=None, longitude=None, city=""))
    assert booking_facts({job.pk: DAY})[job.pk] == BookingFacts(storeys=1, is_returning=False)


@pytest.mark.django_db
def test_the_facts_of_many_jobs_take_three_queries(django_assert_num_queries):
    """Imports book hundreds at once."""
    jobs = {make_job().pk: DAY for _ in range(7)}
    with django_assert_num_queries(3):
        assert len(booking_facts(jobs)) == 7


@pytest.mark.django_db(transaction=True)
def test_earlier_entries_are_filled_in_and_say_so():
    """The migration gives old lines what can still be known, marks them, and closes the ledger again."""
    before, after = [("work", "0002_poured_and_steps")], [("work", "0003_facts_of_earlier_earnings")]
    executor = MigrationExecutor(connection)
    executor.migrate(before)
    try:
        job = make_job(property=make_property(storeys=2), source="flyer")
        line = job.lines.get()
        EarningEntry.objects.create(
            work_date=DAY, service=line.service, job_ref=job.pk, line_ref=line.pk, price_cents=1, recorded_at=MOMENT
        )
        MigrationExecutor(connection).migrate(after)
        entry = EarningEntry.objects.get()
        assert (entry.storeys, entry.lead_source, entry.facts_added_later) == (2, "flyer", True)
        with pytest.raises(Exception, match="append-only"), connection.cursor() as cursor:
            cursor.execute("UPDATE earnings_earningentry SET storeys = 9")
    finally:
        executor = MigrationExecutor(connection)
        executor.migrate(executor.loader.graph.leaf_nodes())
        assert Job.objects.exists()
