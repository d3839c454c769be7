"""Any set of readings: no crash, days in order, and what must grow with what."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.chalking.domain.fitting import Fit, covariance_of, fit
from jobs.chalking.domain.forecast import crossings, level_at
from jobs.chalking.domain.growth import MID_TONE, Readings, Walls, prior_of
from jobs.chalking.domain.verdict import chance_passed
from jobs.chalking.models import WallForecast
from jobs.chalking.selectors import forecast_list
from jobs.chalking.services import forecasts_update
from jobs.chalking.words import forecast_facts
from tests import factories as make

TODAY = date(2026, 6, 1)
STEPS = st.integers(0, 10)
READING = st.tuples(st.integers(0, 3), STEPS, st.floats(0.01, 60), st.booleans(), st.integers(0, 3), st.booleans())
SETS = st.one_of(
    st.lists(READING, min_size=1, max_size=12),
    st.lists(READING, min_size=1, max_size=12).map(lambda rows: [(w, 0, *rest) for w, _step, *rest in rows]),
    st.lists(READING, min_size=1, max_size=12).map(lambda rows: [(w, 10, *rest) for w, _step, *rest in rows]),
    st.lists(READING, min_size=1, max_size=6).map(
        lambda rows: [row for w, _step, *rest in rows for row in ((w, 0, *rest), (w, 10, *rest))]
    ),
)


def walls_of(count: int = 4) -> Walls:
    return Walls(np.zeros((count, 1), int), np.full(count, MID_TONE), 1)


def readings_of(rows: list[tuple[Any, ...]]) -> Readings:
    wall, step, dose, again, reader, rain = zip(*sorted(rows), strict=True)
    return Readings(
        np.array(wall), np.array(step), np.array(dose), np.array(again), np.array(reader), np.array(rain), 4
    )  # fmt: skip


def prior_fit(seed: int, size: float) -> Fit:
    """Some parameters about the prior, and the prior's own spread: what a fit of other walls may have come to."""
    mean, spread = prior_of(1, 4)
    theta = mean + size * spread * np.random.default_rng(seed).standard_normal(len(mean))
    return Fit(theta, covariance_of(np.diag(spread**-2), spread) * 0.1, 0, 0.0)


@settings(max_examples=25, deadline=None)
@given(SETS)
def test_any_readings_are_fitted_and_forecast(rows: list[tuple[Any, ...]]) -> None:
    """All noughts, all fives, one reader, 0 and 5 on the same day: numbers in order, and not too sure of themselves."""
    readings = readings_of(rows)
    found = fit(walls_of(), readings)
    doses = crossings(walls_of(), readings, np.zeros(4, bool), found, limit=2.0).doses
    assert np.isfinite(found.theta).all()
    assert (np.linalg.eigvalsh(found.covariance) > 0).all()
    assert np.isfinite(doses).all()
    assert (doses[:, 0] > 0).all()
    assert (doses[:, 0] <= doses[:, 1]).all()
    assert (doses[:, 1] <= doses[:, 2]).all()
    unread = np.setdiff1d(np.arange(4), readings.wall)
    assert (doses[unread, 2] / doses[unread, 0] > 2).all()


@settings(max_examples=40, deadline=None)
@given(SETS, st.integers(0, 1000), st.floats(0, 0.7), st.data())
def test_a_higher_reading_never_moves_the_day_back(
    rows: list[tuple[Any, ...]], seed: int, size: float, data: st.DataObject
) -> None:
    """By the same fit: of any one reading, on all three doses of its wall; other walls stay where they were."""
    readings, found = readings_of(rows), prior_fit(seed, size)
    at = data.draw(st.integers(0, len(readings) - 1))
    step = readings.step.copy()
    step[at] = data.draw(st.integers(int(step[at]), 10))
    before, after = (
        crossings(walls_of(), each, np.zeros(4, bool), found, limit=2.0).doses
        for each in (readings, replace(readings, step=step))
    )
    others = np.arange(4) != readings.wall[at]
    assert (after[~others] <= before[~others] * (1 + 1e-6)).all()
    assert after[others] == pytest.approx(before[others])


@settings(max_examples=25, deadline=None)
@given(SETS, st.integers(0, 1000), st.sampled_from([0.5, 1.0, 2.0, 3.5]))
def test_a_higher_limit_is_never_passed_sooner(rows: list[tuple[Any, ...]], seed: int, limit: float) -> None:
    """By the same fit and the same readings."""
    readings, found = readings_of(rows), prior_fit(seed, 0.3)
    low, high = (
        crossings(walls_of(), readings, np.zeros(4, bool), found, limit=each).doses for each in (limit, limit + 0.5)
    )
    assert (high >= low).all()


@settings(max_examples=25, deadline=None)
@given(SETS, st.integers(0, 1000))
def test_the_order_of_walls_and_readings_changes_nothing(rows: list[tuple[Any, ...]], seed: int) -> None:
    """Walls numbered the other way round get each other's forecasts."""
    found, none_again = prior_fit(seed, 0.3), np.zeros(4, bool)
    turned = [(3 - wall, *rest) for wall, *rest in rows]
    one, other = (
        crossings(walls_of(), readings_of(each), none_again, found, limit=2.0).doses for each in (rows, turned)
    )
    assert other[::-1] == pytest.approx(one, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0, 100), min_size=2, max_size=20), st.floats(0.01, 50), st.floats(0.4, 2.5))
def test_more_dose_is_never_less_chalk_and_never_less_chance(doses: list[float], crossing: float, shape: float) -> None:
    """The level at a dose, and the chance of having passed by it."""
    dose = np.sort(doses)
    assert (np.diff(level_at(dose, np.full(len(dose), crossing), limit=2.0, shape=shape)) >= 0).all()
    quantiles = (crossing, 1.5 * crossing, 2.5 * crossing)
    chances = [chance_passed(each, quantiles, (0.1, 0.5, 0.9)) for each in dose.tolist()]
    assert chances == sorted(chances)
    assert 0.1 <= chances[0] <= chances[-1] <= 0.9
    assert chance_passed(1.5 * crossing, quantiles, (0.1, 0.5, 0.9)) == pytest.approx(0.5)


DAYS = st.dates(date(2015, 1, 1), TODAY)
WALLS = st.lists(
    st.fixed_dictionaries(
        {
            "year_fitted": st.none() | st.integers(1950, 2026),
            "facing_degrees": st.none() | st.integers(0, 359),
            "shade": st.sampled_from(["open", "partly", "mostly"]),
            "lightness_percent": st.none() | st.integers(0, 100),
            "read": st.lists(st.tuples(DAYS, STEPS, st.none() | st.integers(0, 20)), max_size=6),
            "removed": st.lists(st.integers(-1, 6) | DAYS, max_size=2),
        }
    ),
    min_size=1,
    max_size=3,
)


@pytest.mark.django_db
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.none() | st.integers(1800, 2026), st.none() | st.floats(-60, 60), WALLS)
def test_any_rows_get_a_forecast_or_a_refusal_in_words(
    year_built: int | None, latitude: float | None, walls: list[dict[str, Any]]
) -> None:
    """Removals before, after and on the day of readings; the year of the house or none at all; either hemisphere."""
    WallForecast.objects.all().delete()
    longitude = None if latitude is None else -80.0
    place = make.make_property(year_built=year_built, latitude=latitude, longitude=longitude)
    service = make.make_service(removes_chalk=True)
    made = []
    for number, known in enumerate(walls):
        read, removed = known.pop("read"), known.pop("removed")
        wall = make.make_wall(property=place, name=f"wall {number}", **known)
        for day, step, rain in read:
            make.make_reading(wall=wall, read_on=day, reading=step / 2, days_since_rain=rain)
        for on in removed:
            day = on if isinstance(on, date) else read[on % len(read)][0] if read else TODAY - timedelta(days=9)
            make.make_visit_of(service, place, day).job.lines.get().walls.set([wall])
        made.append((wall.pk, not read))
    counts = forecasts_update(now=make.MOMENT)
    rows = {row.wall_id: row for row in forecast_list(limit=Decimal(2), today=TODAY, property_id=place.pk)}
    assert {pk: row.last_read_on is None for pk, row in rows.items()} == dict(made)
    assert counts.forecast + counts.refused == counts.walls
    assert counts.unread_forecast <= counts.unread
    for row in rows.values():
        said = forecast_facts(row, reading=row.reading, limit=Decimal(2), today=TODAY)
        assert said.get("month") or said.get("refusal") or said.get("seen") or (row.is_untested and said["like"])
        if not row.refusal:
            assert row.since <= row.early_on <= row.middle_on <= row.late_on
