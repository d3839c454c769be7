"""Dose over the calendar, and the day on which a dose is reached."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.chalking.domain.seasons import LAST_DAY, day_of_dose, dose_between
from jobs.chalking.domain.sun import relative_doses

DAYS = st.dates(date(1950, 1, 1), date(2060, 12, 31))


def wall(facing: float = 180.0, shade: str = "open") -> np.ndarray:
    return relative_doses(40.0, np.array([facing]), [shade])


def days(*given_days: date) -> np.ndarray:
    return np.array(given_days, dtype="datetime64[D]")


def test_a_year_on_the_south_wall_is_one() -> None:
    """From any day to the same day of the next year: that is the unit of dose."""
    for since in ("2025-01-01", "2025-05-17", "2027-03-01"):
        start = np.array([since], dtype="datetime64[D]")
        end = np.array([str(int(since[:4]) + 1) + since[4:]], dtype="datetime64[D]")
        assert dose_between(wall(), start, end) == pytest.approx(1.0, abs=1e-9)


def test_the_seasons_differ() -> None:
    """A north wall gets most of its light in summer, so it reaches half a year's dose in June and not in winter."""
    north = wall(0.0)
    yearly = north.sum()
    half = day_of_dose(north, days(date(2026, 1, 1)), np.array([yearly / 2]))[0]
    assert np.datetime64("2026-06-10") < half < np.datetime64("2026-07-05")
    summer = dose_between(north, days(date(2026, 5, 1)), days(date(2026, 9, 1)))
    assert summer[0] > 0.42 * yearly


@settings(max_examples=150, deadline=None)
@given(DAYS, st.floats(0.001, 30), st.sampled_from([0.0, 80.0, 180.0]), st.sampled_from(["open", "mostly"]))
def test_the_day_of_a_dose_is_the_first_that_has_it(since: date, dose: float, facing: float, shade: str) -> None:
    """At its start the dose is reached, a day earlier it was not."""
    by_month, start, wanted = wall(facing, shade), days(since), np.array([dose])
    found = day_of_dose(by_month, start, wanted)
    if found[0] == LAST_DAY:
        return
    assert dose_between(by_month, start, found)[0] >= dose - 1e-6
    assert dose_between(by_month, start, found - 1)[0] < dose + 1e-6


def test_more_dose_is_never_sooner_and_has_an_end() -> None:
    """Also for doses beyond any calendar: they end on the last day."""
    doses = np.array([0.0, 0.1, 1.0, 5.0, 50.0, 1e6, 1e300])
    found = day_of_dose(np.repeat(wall(), 7, axis=0), np.repeat(days(date(2020, 2, 29)), 7), doses)
    assert found[0] == np.datetime64("2020-02-29")
    assert (np.diff(found.astype(int)) >= 0).all()
    assert found[-1] == LAST_DAY


def test_nothing_before_the_life_began() -> None:
    """A reading dated before the removal it is compared with has no dose, and none below nothing."""
    assert dose_between(wall(), days(date(2026, 5, 1)), days(date(2026, 4, 1)))[0] == 0.0
