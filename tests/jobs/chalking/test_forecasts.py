"""Rows in, forecasts out: lives of a surface, removals, refusals, refits, and what starts them."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from math import exp
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.utils import timezone

from jobs.chalking.domain.life import Life, beginnings, first_life, life_before
from jobs.chalking.domain.sun import yearly_share
from jobs.chalking.domain.verdict import Verdict, is_too_wide, verdict
from jobs.chalking.models import ChalkModel, WallForecast
from jobs.chalking.rows import book_of
from jobs.chalking.selectors import chalk_setting_get
from jobs.chalking.services import chalk_setting_update, forecasts_update
from jobs.chalking.words import since_words
from jobs.customers.services import property_update, wall_update
from jobs.walkthroughs.services import reading_record
from shared.background.models import Schedule
from shared.background.services import run_task
from shared.events.models import Event
from tests import factories as make

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
FIRST = Life(date(2010, 7, 1), "fitted")


@pytest.mark.parametrize(
    ("day", "removals", "life"),
    [
        (date(2020, 5, 1), [], FIRST),
        (date(2020, 5, 1), [date(2020, 5, 1)], FIRST),
        (date(2020, 5, 2), [date(2020, 5, 1)], Life(date(2020, 5, 1), "removal")),
        (date(2022, 1, 1), [date(2015, 1, 1), date(2020, 1, 1)], Life(date(2020, 1, 1), "removal")),
        (date(2016, 1, 1), [date(2015, 1, 1), date(2020, 1, 1)], Life(date(2015, 1, 1), "removal")),
        (date(2020, 1, 1), [date(2009, 1, 1)], FIRST),
    ],
    ids=["none", "same day", "day after", "newest", "between", "older siding"],
)
def test_the_life_of_a_surface(day: date, removals: list[date], life: Life) -> None:
    """The newest removal before the day counts, unless the siding was fitted since."""
    assert life_before(day, FIRST, removals) == life


def test_age_of_siding_is_the_houses_unless_told() -> None:
    """A year counts from its middle; no year at all is no start."""
    assert first_life(2012, 1990) == Life(date(2012, 7, 1), "fitted")
    assert first_life(None, 1990) == Life(date(1990, 7, 1), "built")
    assert first_life(None, None) == Life(None, "unknown")


def test_siding_of_an_old_house_may_be_younger() -> None:
    """The house's own year least likely where it is old; chances add up to one; a known year or a new house is sure."""
    old = beginnings(Life(date(1960, 7, 1), "built"), date(2020, 7, 1))
    assert len(old) == 5
    assert sum(chance for _day, chance in old) == pytest.approx(1.0)
    assert old[0][0] == date(1960, 7, 1)
    assert old[0][1] == pytest.approx(exp(-60 / 40), rel=1e-3)
    assert all(date(1960, 7, 1) < day < date(2020, 7, 1) for day, _chance in old[1:])
    for sure in (Life(date(1960, 7, 1), "fitted"), Life(date(2015, 7, 1), "built")):
        assert beginnings(sure, date(2020, 7, 1)) == ((sure.since, 1.0),)
    assert beginnings(Life(None, "unknown"), date(2020, 7, 1)) == ()


TODAY = date(2026, 6, 1)


@pytest.mark.parametrize(
    ("days", "found"),
    [
        ((date(2024, 1, 1), date(2025, 1, 1), date(2026, 6, 1)), Verdict.HAS_PASSED),
        ((date(2024, 1, 1), date(2026, 6, 1), date(2028, 1, 1)), Verdict.PROBABLY_PASSED),
        ((date(2024, 1, 1), date(2026, 9, 1), date(2028, 1, 1)), Verdict.THIS_SEASON),
        ((date(2026, 9, 1), date(2026, 9, 2), date(2028, 1, 1)), Verdict.MAY_THIS_SEASON),
        ((date(2026, 9, 2), date(2027, 9, 2), date(2028, 1, 1)), Verdict.LATER),
        ((None, None, None), Verdict.TOO_LITTLE),
    ],
)
def test_verdicts(days: tuple[date | None, ...], found: Verdict) -> None:
    """A season is 92 days; the last day of it belongs to it."""
    assert verdict(*days, today=TODAY) == found


def test_four_times_is_the_widest() -> None:
    """An interval that ends at four times its beginning is still spoken of."""
    assert not is_too_wide(2.0, 8.0)
    assert is_too_wide(2.0, 8.1)


def read(wall: Any, *readings: tuple[str, float], **over: Any) -> None:
    for day, reading in readings:
        make.make_reading(wall=wall, read_on=date.fromisoformat(day), reading=Decimal(str(reading)), **over)


def removal(place: Any, day: str, walls: tuple[Any, ...] = ()) -> Any:
    service = make.make_service(name="Chalk removal", removes_chalk=True, interval_months=48)
    visit = make.make_visit_of(service, place, date.fromisoformat(day))
    visit.job.lines.get().walls.set(walls)
    return visit


def well_read_wall(**over: Any) -> Any:
    """A south wall of 2016 that gains about a third of a step a year and stands at 1.5 to 2."""
    wall = make.make_wall(year_fitted=2016, lightness_percent=60, **over)
    read(wall, ("2022-05-10", 1), ("2023-05-10", 1.5), ("2024-05-10", 1.5), ("2025-05-10", 2), ("2026-05-10", 2))
    return wall


@pytest.mark.django_db
def test_a_wall_that_was_read_gets_a_day() -> None:
    """Early, middle, late in order around the truth of such a wall, with what it rests on."""
    wall = well_read_wall()
    counts = forecasts_update(now=NOW)
    row = WallForecast.objects.get(wall=wall)
    assert (counts.walls, counts.forecast, counts.refused, counts.is_refitted) == (1, 1, 0, True)
    assert row.early_on < row.middle_on < row.late_on
    assert date(2024, 6, 1) < row.middle_on < date(2028, 1, 1)
    assert (row.since, row.since_what, row.reading_count) == (date(2016, 7, 1), "fitted", 5)
    assert sum(row.dose_by_month) == pytest.approx(1.0, abs=0.01)


@pytest.mark.django_db
def test_a_removal_starts_the_wall_again_and_a_wash_does_not() -> None:
    """After a removal the limit lies years ahead; a wash changes nothing at all."""
    place = make.make_property()
    wall = well_read_wall(property=place)
    forecasts_update(now=NOW)
    before = WallForecast.objects.get(wall=wall)
    make.make_visit_of(make.make_service(), place, date(2026, 5, 20))
    forecasts_update(now=NOW)
    washed = WallForecast.objects.get(wall=wall)
    assert (washed.middle_on, washed.since) == (before.middle_on, before.since)
    removal(place, "2026-05-20")
    forecasts_update(now=NOW)
    cleaned = WallForecast.objects.get(wall=wall)
    assert (cleaned.since, cleaned.since_what) == (date(2026, 5, 20), "removal")
    assert cleaned.early_on > date(2029, 1, 1) > before.middle_on


@pytest.mark.django_db
def test_parameters_are_known_by_name_and_not_by_place() -> None:
    """A database may give the members of a JSON object back in another order, as PostgreSQL does."""
    wall = well_read_wall()
    forecasts_update(now=NOW)
    before, fitted = WallForecast.objects.get(wall=wall), ChalkModel.objects.get()
    turned = dict(reversed(fitted.parameters.items()))
    ChalkModel.objects.create(
        fitted_at=NOW + timedelta(minutes=1), wall_count=1, reading_count=1, inputs_digest=fitted.inputs_digest,
        parameters=turned, covariance=fitted.covariance,
    )  # fmt: skip
    for places in (None, [wall.property_id]):
        forecasts_update(now=NOW, property_ids=places)
        assert WallForecast.objects.get(wall=wall).middle_on == before.middle_on


@pytest.mark.django_db
def test_a_removal_of_one_wall_leaves_the_others() -> None:
    """A job line that names walls is about those only."""
    place = make.make_property()
    done, left = well_read_wall(property=place), well_read_wall(property=place)
    removal(place, "2026-05-20", (done,))
    forecasts_update(now=NOW)
    since = dict(WallForecast.objects.values_list("wall", "since_what"))
    assert since == {done.pk: "removal", left.pk: "fitted"}


@pytest.mark.django_db
def test_refusals_say_why() -> None:
    """No year at all, read or never read; a nought that tells little. Of siding that is newer than every reading,
    and of a wall that was never read, so few walls tell too little as well."""
    no_start = make.make_wall()
    read(no_start, ("2026-05-10", 2))
    newer = make.make_wall(year_fitted=2026)
    read(newer, ("2025-05-10", 3))
    nought = make.make_wall(year_fitted=2024)
    read(nought, ("2026-05-10", 0))
    never, nothing = make.make_wall(year_fitted=2010), make.make_wall()
    forecasts_update(now=NOW)
    refusals = dict(WallForecast.objects.values_list("wall", "refusal"))
    assert refusals == {
        no_start.pk: "no_start", newer.pk: "too_wide", nought.pk: "too_wide", never.pk: "too_wide",
        nothing.pk: "no_start",
    }  # fmt: skip
    assert WallForecast.objects.get(wall=no_start).middle_on is None


@pytest.mark.django_db
def test_a_correction_of_the_same_day_replaces_and_other_scales_stay_out() -> None:
    """The newest row of a day counts; a reading on another scale is never mixed in."""
    wall = make.make_wall(year_fitted=2016)
    read(wall, ("2026-05-10", 4), ("2026-05-10", 1))
    read(wall, ("2026-05-11", 5), scale="other")
    book = book_of()
    assert (book.readings.step.tolist(), book.reading_counts.tolist()) == ([2], [1])


@pytest.mark.django_db
def test_a_fast_wall_of_an_old_house_has_younger_siding() -> None:
    """Half a step each year for four years, on a house of 1960: the page says what was judged, and for which year."""
    place = make.make_property(year_built=1960)
    wall = make.make_wall(property=place, year_fitted=None)
    read(wall, ("2022-05-10", 0.5), ("2023-05-10", 1), ("2024-05-10", 1), ("2025-05-10", 1.5), ("2026-05-10", 1.5))
    forecasts_update(now=NOW)
    row = WallForecast.objects.get(wall=wall)
    assert (row.since_what, row.reading_count) == ("guessed", 5)
    assert date(2000, 1, 1) < row.since < date(2022, 1, 1)
    assert row.early_on < row.middle_on < date(2034, 1, 1)
    assert "judged by the readings" in since_words(row)
    removal(place, "2026-05-20")
    forecasts_update(now=NOW)
    row.refresh_from_db()
    assert (row.since, row.since_what) == (date(2026, 5, 20), "removal")


@pytest.mark.django_db
def test_a_look_at_the_work_on_the_day_of_a_removal_is_no_correction() -> None:
    """3 before the work and 0 after it: the 3 is how the chalk grew. Without a removal the 0 corrects the 3."""
    wall = make.make_wall(year_fitted=2016)
    read(wall, ("2026-05-20", 3), ("2026-05-20", 0))
    assert book_of().readings.step.tolist() == [0]
    removal(wall.property, "2026-05-20")
    assert book_of().readings.step.tolist() == [6]


@pytest.mark.django_db
def test_a_wall_without_a_place_lies_where_the_others_do_whoever_asks() -> None:
    """Also where only its own property is forecast anew, right after a reading."""
    make.make_property(latitude=26.0, longitude=-80.0)
    wall = well_read_wall(property=make.make_property(latitude=None, longitude=None), facing_degrees=90)
    forecasts_update(now=NOW)
    whole = WallForecast.objects.get(wall=wall)
    forecasts_update(now=NOW, property_ids=[wall.property_id])
    alone = WallForecast.objects.get(wall=wall)
    assert (alone.dose_by_month, alone.middle_on) == (whole.dose_by_month, whole.middle_on)
    assert sum(whole.dose_by_month) == pytest.approx(yearly_share(26.0, 90), abs=1e-3)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("change", "forecast"),
    [({"year_built": 1999}, True), ({"latitude": 27.0, "longitude": -81.0}, True), ({"note": "Ring twice"}, False)],
)
def test_what_a_property_tells_of_its_light_and_age_starts_a_forecast(
    change: dict[str, Any], forecast: bool, django_capture_on_commit_callbacks: Any, settings: Any
) -> None:
    """Through the service that changes it; anything else leaves the forecasts alone."""
    settings.WALLDAY_BACKGROUND = "inline"
    wall = well_read_wall()
    with django_capture_on_commit_callbacks(execute=True):
        property_update(place=wall.property, actor=None, **change)
    assert WallForecast.objects.filter(wall=wall).exists() is forecast


@pytest.mark.django_db
def test_readers_rain_and_place_are_taken_along() -> None:
    """Somebody unknown is reader 0; rain within three days is marked; walls without a place lie where the others do."""
    office = make.make_user()
    wall = make.make_wall(year_fitted=2016)
    read(wall, ("2025-05-10", 1), days_since_rain=3)
    read(wall, ("2026-05-10", 1), days_since_rain=4, read_by=office)
    lost = make.make_wall(year_fitted=2016, property=make.make_property(latitude=None, longitude=None))
    read(lost, ("2025-05-10", 1))
    book = book_of()
    assert book.readings.reader.tolist() == [0, 1, 0]
    assert book.readings.after_rain.tolist() == [True, False, False]
    assert book.reader_ids == (office.pk,)
    assert book.by_month[0].tolist() == book.by_month[1].tolist()


@pytest.mark.django_db
def test_the_same_inputs_are_not_fitted_again() -> None:
    """A second night without news keeps the fit; a further reading refits, starting from the last one."""
    wall = well_read_wall()
    assert forecasts_update(now=NOW).is_refitted
    assert not forecasts_update(now=NOW).is_refitted
    read(wall, ("2026-05-30", 2), read_by=make.make_user())
    assert forecasts_update(now=NOW).is_refitted
    assert ChalkModel.objects.count() == 2


@pytest.mark.django_db
def test_one_property_is_forecast_with_the_stored_fit() -> None:
    """Only its walls are written; a reader whom the fit does not know counts as somebody unknown."""
    wall, other = well_read_wall(), well_read_wall()
    forecasts_update(now=NOW)
    before = dict(WallForecast.objects.values_list("wall", "middle_on"))
    read(wall, ("2026-05-30", 3.5), read_by=make.make_user())
    counts = forecasts_update(now=NOW, property_ids=[wall.property_id])
    after = dict(WallForecast.objects.values_list("wall", "middle_on"))
    assert (counts.walls, counts.is_refitted, ChalkModel.objects.count()) == (1, False, 1)
    assert after[wall.pk] < before[wall.pk]
    assert after[other.pk] == before[other.pk]


@pytest.mark.django_db
def test_queries_do_not_grow_with_walls(django_assert_num_queries: Any, django_assert_max_num_queries: Any) -> None:
    """Twenty walls are read and written in as many queries as one."""
    well_read_wall()
    forecasts_update(now=NOW)
    with django_assert_max_num_queries(14) as one:
        forecasts_update(now=NOW)
    for _ in range(19):
        well_read_wall()
    forecasts_update(now=NOW)
    with django_assert_num_queries(len(one)):
        forecasts_update(now=NOW)


@pytest.mark.django_db
def test_readings_removals_and_changes_start_a_forecast(django_capture_on_commit_callbacks: Any, settings: Any) -> None:
    """Each of them enqueues the property, and the forecast is there when the task has run."""
    settings.WALLDAY_BACKGROUND = "inline"
    wall = well_read_wall()
    with django_capture_on_commit_callbacks(execute=True):
        reading_record(wall=wall, reading=Decimal(2), read_on=TODAY, today=TODAY)
    row = WallForecast.objects.get(wall=wall)
    assert row.last_read_on == TODAY
    with django_capture_on_commit_callbacks(execute=True):
        wall_update(wall=wall, actor=None, year_fitted=2020)
    row.refresh_from_db()
    assert row.since == date(2020, 7, 1)


@pytest.mark.django_db
def test_a_removal_that_is_booked_starts_a_forecast(django_capture_on_commit_callbacks: Any, settings: Any) -> None:
    """Through the service that books a visit."""
    from jobs.work.services import job_arrive, visit_record

    settings.WALLDAY_BACKGROUND = "inline"
    service = make.make_service(name="Chalk removal", removes_chalk=True, interval_months=48)
    wall = well_read_wall()
    job = make.make_job(property=wall.property, state="planned", lines=[{"service": service}])
    with django_capture_on_commit_callbacks(execute=True):
        job_arrive(job=job)
        job.refresh_from_db()
        visit_record(job=job, work_date=TODAY, on_site_minutes=60)
    assert WallForecast.objects.get(wall=wall).since == TODAY


@pytest.mark.django_db
def test_the_limit_is_on_the_scale_and_its_change_is_kept(django_capture_on_commit_callbacks: Any) -> None:
    """0 and 5.5 are refused; a change is in the history and all walls follow."""
    wall = well_read_wall()
    forecasts_update(now=NOW)
    before = WallForecast.objects.get(wall=wall).middle_on
    for wrong in (0, 11):
        with pytest.raises(ValidationError):
            chalk_setting_update(actor=None, limit_half_steps=wrong)
    assert chalk_setting_get().limit == 2
    with django_capture_on_commit_callbacks() as callbacks:
        chalk_setting_update(actor=None, limit_half_steps=6)
    assert len(callbacks) == 1
    assert Event.objects.get(kind="chalk_limit.changed").data == {"fields": ["limit_half_steps"]}
    run_task("chalking.nightly", {})
    row = WallForecast.objects.get(wall=wall)
    assert row.middle_on > before
    assert row.limit_half_steps == 6
    with pytest.raises(TypeError):
        chalk_setting_update(actor=None, colour="blue")


@pytest.mark.django_db
def test_the_clock_starts_it_at_night() -> None:
    """One schedule row, once a day, first in the night to come."""
    row = Schedule.objects.get(task="chalking.nightly")
    assert (row.every_minutes, row.next_due_at.hour) == (1440, 8)
    assert row.next_due_at > timezone.now()


@pytest.mark.django_db
def test_the_command_says_what_it_came_to(capsys: Any) -> None:
    """In a line, and as JSON."""
    well_read_wall()
    call_command("forecast_chalk")
    assert "1 of 1 walls that were read have a day for passing 2, 0 have too little data" in capsys.readouterr().out
    call_command("forecast_chalk", "--json")
    assert '"forecast": 1' in capsys.readouterr().out
