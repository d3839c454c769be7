"""An estimate reckons with the minutes that the company's own jobs have shown."""

from datetime import date, timedelta

import pytest

from pricing.catalogue.models import Service
from pricing.catalogue.services import catalogue_defaults
from pricing.estimates.calculation import estimate_reckon
from pricing.estimates.inputs import DriveFacts, PlaceFacts, WantedLine
from pricing.minutes.domain.features import JobFeatures
from pricing.minutes.inputs import LineBooking
from pricing.minutes.services import minutes_import, model_fit

DAY = date(2026, 6, 1)
WASH = JobFeatures("house_wash", 1600)  # the card: 20 + 60 minutes


@pytest.fixture
def learnt(db):
    """Thirty washes of May, each about 110 minutes where the card says 80."""
    catalogue_defaults(on=date(2026, 1, 1))
    days = (DAY - timedelta(days=31 - n) for n in range(30))
    minutes_import(LineBooking(n, 1000 + n, day, WASH, 105 + n % 10) for n, day in enumerate(days))
    model_fit(today=DAY)


def reckoned(service="house_wash", *, on=DAY):
    place = PlaceFacts(property_ref=1, address="", customer_name="", language="en", storeys=1)
    wanted = [WantedLine(Service.objects.get(code=service), 1600)]
    return estimate_reckon(place=place, drive=DriveFacts(0, 0, "days"), wanted=wanted, on=on).lines[0]


def test_minutes_and_target_price_follow_the_jobs(learnt):
    """The crews take longer than the card says, so the hours cost more, and the estimate says whence it knows."""
    after, before = reckoned(), reckoned(on=DAY - timedelta(days=1))
    assert (before.expected.minutes, before.expected.card_minutes) == (80, 80)
    assert after.expected.card_minutes == 80
    assert 95 < after.expected.minutes < 112
    assert after.price.target_price_cents > before.price.target_price_cents
    assert after.card_price_cents == before.card_price_cents
    assert after.expected.why[0].startswith("Based on 30 jobs")


def test_much_history_narrows_the_spread(learnt):
    """What thirty like jobs have shown is surer than the card alone."""
    after, before = reckoned().expected, reckoned(on=DAY - timedelta(days=1)).expected
    assert after.q90_minutes / after.median_minutes < before.q90_minutes / before.median_minutes


def test_a_service_without_jobs_says_so(learnt):
    """Jobs of another service may move the company as a whole; the words do not claim jobs of this one."""
    assert reckoned("roof_wash").expected.why[0].startswith("No jobs of this kind")
