"""An estimate reckons with the minutes that the company's own jobs have shown."""

from datetime import date, timedelta

import pytest

from pricing.catalogue.models import Service
from pricing.catalogue.services import catalogue_defaults
from pricing.estimates.calculation import estimate_reckon
from pricing.estimates.inputs import DriveFacts, PlaceFacts, WallFacts, WantedLine
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


def reckoned(service="house_wash", *, on=DAY, walls=()):
    place = PlaceFacts(property_ref=1, address="", customer_name="", language="en", storeys=1, walls=walls)
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


@pytest.fixture
def brick_learnt(db):
    """Washes of brick houses with a chalky wall take half as long again as those of sound vinyl ones."""
    catalogue_defaults(on=date(2026, 1, 1))
    vinyl, brick = (
        JobFeatures("house_wash", 1600, chalk_reading=0.0, material="vinyl"),
        JobFeatures("house_wash", 1600, chalk_reading=4.0, material="brick"),
    )
    kinds = ((vinyl, 80), (brick, 120))
    minutes_import(
        LineBooking(n, 1000 + n, DAY - timedelta(days=61 - n), kinds[n % 2][0], kinds[n % 2][1] + n % 7)
        for n in range(60)
    )
    model_fit(today=DAY)


def walls_of(material, *chalk):
    return tuple(
        WallFacts(n, f"wall {n}", "face", 400, material=material, chalk=reading) for n, reading in enumerate(chalk)
    )


def test_walls_count_for_work_on_walls_alone(brick_learnt):
    """Jobs off the walls are learnt without chalk and material, so they are asked for without them too."""
    brick, vinyl = walls_of("brick", 4.0), walls_of("vinyl", 0.0)
    assert reckoned(walls=brick).expected.minutes > 1.2 * reckoned(walls=vinyl).expected.minutes
    assert reckoned("roof_wash", walls=brick).expected == reckoned("roof_wash", walls=vinyl).expected


def test_the_worst_reading_counts(brick_learnt):
    """As in the jobs that were learnt from: one chalky wall of three is a chalky house."""
    assert reckoned(walls=walls_of("brick", 4.0, 0.0, 0.0)).expected == reckoned(walls=walls_of("brick", 4.0)).expected
