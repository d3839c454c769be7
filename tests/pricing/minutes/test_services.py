"""Bookings are kept, forecasts are stored before the work is known, models are versions."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command

from pricing.catalogue.domain import Access, Soil
from pricing.catalogue.models import RateCard
from pricing.catalogue.services import catalogue_defaults
from pricing.minutes.choices import ForecastOrigin, PromisedMinutes, RouteMinutes
from pricing.minutes.domain.features import JobFeatures
from pricing.minutes.inputs import LineBooking
from pricing.minutes.models import BookedMinutes, JobConditions, LearntMinutes, MinutesChoice, StoredForecast
from pricing.minutes.selectors import (
    booked_list,
    calibration_get,
    conditions_of,
    forecaster_on,
    minutes_choice_get,
    route_minutes,
)
from pricing.minutes.services import (
    conditions_set,
    history_replay,
    minutes_book,
    minutes_choice_set,
    minutes_import,
    model_fit,
)
from shared.events.models import Event

DAY = date(2026, 6, 1)
WASH = JobFeatures("house_wash", 1600)  # the card: 20 + 60 minutes


def booking(line, *, day=DAY, minutes=100, features=WASH, **more):
    return LineBooking(line, 1000 + line, day, features, minutes, **more)


@pytest.fixture
def card(db):
    return catalogue_defaults(on=date(2026, 1, 1))


@pytest.fixture
def month(card):
    """Thirty washes of May, each 110 minutes where the card says 80."""
    return minutes_import(booking(n, day=DAY - timedelta(days=31 - n), minutes=105 + n % 10) for n in range(30))


def test_a_booking_keeps_what_was_expected_of_it(month):
    """The model of the morning is asked, which knows the jobs of before; the new one is learnt from afterwards."""
    model = model_fit(today=DAY)
    minutes_book([booking(99, minutes=200)])
    kept = StoredForecast.objects.get()
    assert (kept.line_ref, kept.model, kept.origin) == (99, model, ForecastOrigin.BOOKING)
    assert 95 < kept.mean_minutes < 112
    assert kept.median_minutes < kept.q80_minutes < kept.q90_minutes
    assert kept.based_on_jobs == pytest.approx(30, abs=1)


def test_a_model_that_knows_later_jobs_is_not_asked(month):
    """Work booked late gets the card's forecast, not that of a model that was fitted on the days since."""
    model_fit(today=DAY)
    minutes_book([booking(99, day=DAY - timedelta(days=5))])
    assert StoredForecast.objects.get().model is None
    assert StoredForecast.objects.get().mean_minutes == 80


def test_a_correction_stands_and_the_forecast_stays(month):
    """The newest row of a line is learnt from; what was expected is not computed again."""
    minutes_book([booking(99, minutes=4)])
    before = StoredForecast.objects.get()
    model_fit(today=DAY)
    minutes_book([booking(99, minutes=104)])
    assert StoredForecast.objects.get() == before
    assert [row.on_site_minutes for row in booked_list() if row.line_ref == 99] == [104]
    assert BookedMinutes.objects.filter(line_ref=99).count() == 2


def test_learning_again_without_news_makes_no_version(month):
    """The nightly run may come twice; a new booking or another card is news."""
    assert model_fit(today=DAY) is not None
    assert model_fit(today=DAY) is None
    assert model_fit(today=DAY + timedelta(days=1)) is None
    minutes_book([booking(99)])
    assert model_fit(today=DAY) is None  # the job of today is learnt tomorrow
    assert model_fit(today=DAY + timedelta(days=1)) is not None
    assert LearntMinutes.objects.count() == 2


def test_nothing_to_learn_from(db):
    """Without jobs, or without a card, there is no model and no error."""
    assert model_fit(today=DAY) is None
    catalogue_defaults(on=DAY)
    assert model_fit(today=DAY) is None


def test_lines_without_minutes_teach_nothing(card):
    """A line that took no time of its own is left out."""
    assert minutes_book([booking(1, minutes=0)]) == 0
    assert not StoredForecast.objects.exists()


def test_replay_knows_only_earlier_jobs(month):
    """Each step's model has read the jobs before the step alone; a second replay makes nothing."""
    assert history_replay(since=DAY - timedelta(days=45), until=DAY) == 30
    for row in StoredForecast.objects.select_related("model"):
        assert row.origin == ForecastOrigin.REPLAY
        assert row.model is None or row.model.done_before <= row.work_date
    assert history_replay(since=DAY - timedelta(days=45), until=DAY) == 0


def test_calibration_reads_what_was_stored(month):
    """Washes that took 110 minutes against the card's 80: nearly none below the median, and it says so."""
    history_replay(since=DAY - timedelta(days=32), until=DAY - timedelta(days=5))
    found = calibration_get()
    median, q80, _q90 = found.levels
    assert (found.jobs, median.below) == (26, 0)
    assert not median.holds
    assert found.bias == pytest.approx(109 / 80, abs=0.03)
    assert found.worst[0].miss >= found.worst[-1].miss
    assert q80.jobs == 26


def test_calibration_without_jobs(db):
    """No jobs, no shares."""
    assert calibration_get().levels == ()


def test_a_newer_card_changes_no_stored_forecast(month):
    """What was expected is a fact of its day."""
    minutes_book([booking(99)])
    before = StoredForecast.objects.values().get()
    RateCard.objects.create(effective_from=DAY - timedelta(days=1))
    minutes_book([booking(99, minutes=120)])
    assert StoredForecast.objects.values().get() == before


def test_conditions_of_a_job(db, django_user_model):
    """Said, and said otherwise; a level that is not known changes nothing."""
    conditions_set(job_ref=7, access=Access.TIGHT, soil=Soil.USUAL)
    conditions_set(job_ref=7, access=Access.TIGHT, soil=Soil.HEAVY)
    assert conditions_of(job_refs=[7, 8]) == {7: (Access.TIGHT, Soil.HEAVY)}
    with pytest.raises(ValidationError):
        conditions_set(job_ref=8, access="narrow", soil=Soil.USUAL)
    assert JobConditions.objects.count() == 1


def test_routes_allow_the_agreed_minutes_until_enough_is_known(card):
    """Without a model nothing changes, promised or not."""
    choice = MinutesChoice(promised=PromisedMinutes.Q90, routes=RouteMinutes.LEARNT)
    asked = {"features": WASH, "agreed_minutes": 77, "forecaster": forecaster_on(on=DAY), "choice": choice}
    assert route_minutes(promised=True, **asked) == 77
    assert route_minutes(promised=False, **asked) == 77


def test_routes_stretch_a_promise_to_the_chosen_quantile(month):
    """The mean for value; for a promised job the quantile, in the proportion of the forecast."""
    model_fit(today=DAY)
    ask = forecaster_on(on=DAY)
    forecast = ask.forecast(WASH)

    def minutes(promised, allow, routes=RouteMinutes.AGREED):
        choice = MinutesChoice(promised=allow, routes=routes)
        return route_minutes(features=WASH, agreed_minutes=100, promised=promised, forecaster=ask, choice=choice)

    assert minutes(False, PromisedMinutes.Q90) == 100
    assert minutes(True, PromisedMinutes.MEAN) == 100
    assert minutes(True, PromisedMinutes.MEDIAN) == round(100 * forecast.median / forecast.mean)
    assert minutes(True, PromisedMinutes.Q80) == round(100 * forecast.quantile(0.8) / forecast.mean)
    assert minutes(True, PromisedMinutes.Q90) > minutes(True, PromisedMinutes.Q80) > 100
    assert minutes(False, PromisedMinutes.MEAN, RouteMinutes.LEARNT) == round(forecast.mean)
    assert minutes(True, PromisedMinutes.Q90, RouteMinutes.LEARNT) == round(forecast.quantile(0.9))


def test_the_owner_chooses(db):
    """The choice is kept with its history; a level that does not exist is refused."""
    assert minutes_choice_get().promised == PromisedMinutes.MEAN
    minutes_choice_set(promised="q80", routes="learnt", actor=None)
    assert (minutes_choice_get().promised, minutes_choice_get().routes) == ("q80", "learnt")
    assert Event.objects.get(kind="minutes.chosen").data["from"] == {"promised": "mean", "routes": "agreed"}
    with pytest.raises(ValidationError):
        minutes_choice_set(promised="q99", routes="learnt", actor=None)


def test_the_command_learns(month, capsys):
    """It says what it did, and that nothing is new the second time."""
    call_command("learn_minutes", replay_since=DAY - timedelta(days=40))
    assert "30 forecasts of past lines made." in capsys.readouterr().out
    call_command("learn_minutes")
    assert "Nothing new to learn." in capsys.readouterr().out
    with pytest.raises(CommandError, match="before today"):
        call_command("learn_minutes", replay_since=date(2999, 1, 1))


def test_three_workers_count_for_more(card):
    """Sixty minutes of three are ninety of two: what is learnt is always of a two-person crew."""
    minutes_book([booking(1, minutes=60, workers=3)])
    assert calibration_get().worst[0].real_minutes == 90
