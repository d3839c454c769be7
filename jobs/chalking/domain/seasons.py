"""Dose over the calendar: how much a wall has got between two days, and on which day it will have got so much.

A wall's dose of each month (an array [wall, month], in years of the site's south face as `sun.relative_doses` gives it)
is spread evenly over the month. Years are all alike; summers differ from winters, so a wall passes most limits in
summer. Days are `datetime64[D]`.
"""

from typing import Any

import numpy as np

Floats = np.ndarray[Any, np.dtype[np.float64]]
Days = np.ndarray[Any, np.dtype[np.datetime64]]

FIRST_YEAR = 1970
FIRST_DAY = np.datetime64("1700-01-01", "D")
LAST_DAY = np.datetime64("2199-12-31", "D")


def dose_until(by_month: Floats, days: Days) -> Floats:
    """Dose from the start of 1970 to the start of each day, an array [wall]; negative before."""
    months = days.astype("datetime64[M]")
    since = months.astype(np.int64)
    first = months.astype("datetime64[D]")
    length = (months + 1).astype("datetime64[D]") - first
    share = (days - first) / length
    before = np.concatenate([np.zeros((len(by_month), 1)), by_month.cumsum(axis=1)], axis=1)
    wall, month = np.arange(len(by_month)), since % 12
    return np.asarray((since // 12) * before[:, -1] + before[wall, month] + share * by_month[wall, month])


def dose_between(by_month: Floats, since: Days, until: Days) -> Floats:
    """Dose that each wall got from one day to another; zero where the second is not later."""
    return np.maximum(dose_until(by_month, until) - dose_until(by_month, since), 0.0)


def day_of_dose(by_month: Floats, since: Days, dose: Floats) -> Days:
    """The first day by whose start each wall has got `dose` since `since`; LAST_DAY for anything later."""
    after = np.concatenate([np.zeros((len(by_month), 1)), by_month.cumsum(axis=1)], axis=1)
    yearly = after[:, -1]
    with np.errstate(over="ignore", invalid="ignore"):
        total = np.minimum(dose_until(by_month, since) + dose, 400 * yearly)
    years = np.floor(total / yearly)
    rest = total - years * yearly
    month = np.clip((after[:, 1:] <= rest[:, None]).sum(axis=1), 0, 11)
    wall = np.arange(len(by_month))
    share = np.clip((rest - after[wall, month]) / by_month[wall, month], 0.0, 1.0)
    months = (years.astype(np.int64) * 12 + month).astype("datetime64[M]")
    first = months.astype("datetime64[D]")
    length = ((months + 1).astype("datetime64[D]") - first).astype(np.int64)
    found = first + np.ceil(np.round(share * length, 6)).astype(np.int64)
    return np.asarray(np.minimum(found, LAST_DAY))
