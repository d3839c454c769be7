"""Learning from booked jobs: the card where nothing is known, the truth where much is, and no ear for slips."""

from dataclasses import replace

import numpy as np
import pytest

from pricing.catalogue.domain import Access
from pricing.minutes.domain.card import card_minutes
from pricing.minutes.domain.features import JobFeatures, Observation, Season
from pricing.minutes.domain.fitting import fit_minutes
from pricing.minutes.domain.forecast import expected_minutes
from pricing.minutes.domain.stored import model_from_json, model_to_json
from tests.pricing.minutes.test_forecast import PLAIN, WASH

GUTTERS = replace(WASH, service_code="gutters", service_name="Gutters", units_per_crew_hour=200, factors=())
RATES = {"house_wash": WASH, "gutters": GUTTERS}


def history(n, *, seed=1, service="house_wash", factor=1.0, tight=1.0, crew=None, spread=0.2):
    """n jobs that take ``factor`` times the card, ``tight`` times that where access is tight."""
    rng = np.random.default_rng(seed)
    crew = crew or {"heron": 1.0, "wren": 1.0}
    jobs = []
    for k in range(n):
        job = JobFeatures(
            service,
            max(1, round(RATES[service].units_per_crew_hour * 1.5 * rng.lognormal(0, 0.3))),
            storeys=1 + k % 2,
            access=Access.TIGHT if k % 5 == 0 else Access.USUAL,
            crew_code=str(rng.choice(list(crew))),
            season=Season.SPRING,
        )
        mean = card_minutes(RATES[service], job) * factor * crew[job.crew_code]
        mean *= tight if job.access == Access.TIGHT else 1.0
        jobs.append(Observation(job, float(mean * rng.lognormal(-(spread**2) / 2, spread))))
    return jobs


def test_no_jobs_is_the_card():
    """Fitting nothing answers exactly as no model does; bookings of unknown services are passed over."""
    alone = expected_minutes(PLAIN, WASH)
    assert expected_minutes(PLAIN, WASH, fit_minutes([], RATES)) == alone
    stray = Observation(JobFeatures("unknown", 10), 50.0)
    assert expected_minutes(PLAIN, WASH, fit_minutes([stray], RATES)) == alone


def test_much_history_outweighs_the_card_and_little_does_not():
    """Jobs that take 40 % longer than the card: 400 of them are believed, 3 only partly."""
    card = card_minutes(WASH, PLAIN)
    few = expected_minutes(PLAIN, WASH, fit_minutes(history(3, factor=1.4, spread=0.001), RATES)).mean / card
    many = expected_minutes(PLAIN, WASH, fit_minutes(history(400, factor=1.4), RATES)).mean / card
    assert 1.05 < few < 1.35
    assert many == pytest.approx(1.4, abs=0.06)


def test_what_is_learnt_is_lent_to_other_services():
    """A company whose washes take longer than the card is not likely to be quick on gutters that it never did."""
    model = fit_minutes(history(200, factor=1.4), RATES)
    gutters = JobFeatures("gutters", 200)
    assert 1.02 < expected_minutes(gutters, GUTTERS, model).mean / card_minutes(GUTTERS, gutters) < 1.35


def test_the_reasons_say_what_was_found():
    """Tight access costs 1.25 by the card and another 1.2 in truth; wren is slower by 15 % than heron."""
    jobs = history(600, tight=1.2, crew={"heron": 1.0, "wren": 1.15})
    model = fit_minutes(jobs, RATES)
    tight = replace(PLAIN, access=Access.TIGHT, crew_code="wren")
    forecast = expected_minutes(tight, WASH, model)
    found = {effect.factor: effect.percent for effect in forecast.effects}
    assert found["access"] == pytest.approx(100 * (1.2 * 132.5 / 110 - 1), abs=8)
    heron = expected_minutes(replace(tight, crew_code="heron"), WASH, model)
    assert forecast.mean / heron.mean == pytest.approx(1.15, abs=0.06)
    assert forecast.based_on_jobs == pytest.approx(300, abs=15)
    assert forecast.service_jobs == pytest.approx(600, abs=30)


@pytest.mark.parametrize("slip", [4.0, 2000.0])
def test_slips_of_booking_change_next_to_nothing(slip):
    """A twentieth of the jobs booked with four minutes, or with a digit too many."""
    clean = history(200)
    spoilt = [replace(b, minutes=slip) if k % 20 == 0 else b for k, b in enumerate(clean)]
    before = expected_minutes(PLAIN, WASH, fit_minutes(clean, RATES))
    model = fit_minutes(spoilt, RATES)
    after = expected_minutes(PLAIN, WASH, model)
    assert after.mean == pytest.approx(before.mean, rel=0.03)
    assert after.quantile(0.9) == pytest.approx(before.quantile(0.9), rel=0.06)
    assert model.misbooked_share > 0.025
    plain = np.mean([b.minutes for b in spoilt]) / np.mean([b.minutes for b in clean])
    assert abs(plain - 1) > 0.04  # so the plain average would have been misled


def test_a_line_of_a_shared_booking_weighs_less():
    """Two lines split by their estimates weigh as much together as one that was booked."""
    jobs = history(60, factor=1.5)
    halves = [replace(b, weight=0.5) for b in jobs for _ in range(2)]
    whole, split = fit_minutes(jobs, RATES), fit_minutes(halves, RATES)
    assert expected_minutes(PLAIN, WASH, split).mean == pytest.approx(
        expected_minutes(PLAIN, WASH, whole).mean, rel=0.01
    )


def test_the_order_of_jobs_does_not_matter_and_repeats_agree():
    """Deterministic up to rounding."""
    jobs = history(80, factor=1.2)
    one, other = fit_minutes(jobs, RATES), fit_minutes(jobs[::-1], RATES)
    assert expected_minutes(PLAIN, WASH, one).mean == pytest.approx(expected_minutes(PLAIN, WASH, other).mean)
    assert expected_minutes(PLAIN, WASH, fit_minutes(jobs, RATES)) == expected_minutes(PLAIN, WASH, one)


def test_a_new_card_does_not_change_what_was_learnt():
    """The model keeps the card that it deviates from until it is fitted anew."""
    model = fit_minutes(history(100), RATES)
    slower = replace(WASH, units_per_crew_hour=800, units_per_crew_hour_high=600)
    assert expected_minutes(PLAIN, slower, model) == expected_minutes(PLAIN, WASH, model)


def test_a_stored_model_answers_as_the_fresh_one():
    """What is written to a row and read back forecasts the same minute."""
    model = fit_minutes(history(100, factor=1.3), RATES)
    again = model_from_json(model_to_json(model))
    for job in (PLAIN, replace(PLAIN, storeys=2, crew_code="heron"), replace(PLAIN, material="brick")):
        fresh, read = expected_minutes(job, WASH, model), expected_minutes(job, WASH, again)
        assert read.q90_minutes == fresh.q90_minutes
        assert read.scale == pytest.approx(fresh.scale, rel=1e-4)
        assert read.effects == fresh.effects


@pytest.mark.parametrize("wrong", [{"minutes": 0}, {"weight": 0}, {"weight": 1.5}])
def test_bookings_that_cannot_be(wrong):
    """The bound and the value are named."""
    with pytest.raises(ValueError, match="Expected"):
        replace(Observation(PLAIN, 100.0), **wrong)
