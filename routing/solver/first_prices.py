"""Prices of the jobs to begin with, before any route is known.

What a job earns above its own time and short drives, less what the same minutes earn elsewhere: the worth of a minute
is that of the last job which still fits into the minutes of all crews (the price of a fractional knapsack: Dantzig,
"Discrete-variable extremum problems", Operations Research 1957). A bound at any prices is valid; at these it is a few
per cent off, where that of a linear program with few routes is worth nothing.
"""

import numpy as np

from .compiled import Day
from .model import METRE_TICKS, MINUTE_TICKS, SHIFT_END, SHIFT_START, Ints

NEIGHBOURS = 3


def first_prices(day: Day) -> Ints:
    """[j] ticks."""
    crews = day.crew
    drive, way = _short_legs(day)
    minutes = np.maximum(1, np.where(day.allowed, day.service, 0).sum(axis=0) // _crews_for(day) + drive)
    costs = minutes * int(crews[:, MINUTE_TICKS].mean()) + way * int(crews[:, METRE_TICKS].mean())
    won = np.where(day.allowed, day.gain, 0).max(axis=0, initial=0) - costs
    room = int((crews[:, SHIFT_END] - crews[:, SHIFT_START]).sum())
    prices: Ints = np.maximum(0, won - _minute_worth(won, minutes, room) * minutes)
    return prices


def _crews_for(day: Day) -> Ints:
    return np.asarray(np.maximum(1, day.allowed.sum(axis=0)))


def _short_legs(day: Day) -> tuple[Ints, Ints]:
    """[j] minutes and metres of a drive to each job from one of its nearest neighbours."""
    places = np.ix_(day.job_place, day.job_place)
    drives = day.minutes[places].copy()
    np.fill_diagonal(drives, np.iinfo(np.int64).max)
    nearest = np.argsort(drives, axis=0, kind="stable")[: min(NEIGHBOURS, max(1, len(drives) - 1))]
    longest = int(day.crew[:, SHIFT_END].max() - day.crew[:, SHIFT_START].min())
    minutes = np.minimum(np.take_along_axis(drives, nearest, axis=0), longest).mean(axis=0)
    metres = np.take_along_axis(day.metres[places], nearest, axis=0).mean(axis=0)
    return minutes.astype(np.int64), metres.astype(np.int64)


def _minute_worth(won: Ints, minutes: Ints, room: int) -> int:
    """Ticks that the last minute earns; nothing where all jobs that earn something fit."""
    order = np.argsort(-(won / minutes), kind="stable")
    order = order[won[order] > 0]
    filled = np.cumsum(minutes[order])
    last = int(np.searchsorted(filled, room))
    return int(won[order[last]] // minutes[order[last]]) if last < len(order) else 0
