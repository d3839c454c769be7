"""When each wall passes a level: its posterior over the fitted model, turned into doses.

level = exp(rate) D^shape grows with the dose, so a wall passes the limit at the dose (limit / exp(rate))^(1/shape), and
quantiles of the rate are quantiles of that dose. The fit's own uncertainty is in it: the posterior of each wall is
computed at vectors of parameters drawn from the fit's normal approximation, and the draws are mixed with equal
weights. With few readings the draws lie far apart, and so do the quantiles.
"""

from dataclasses import dataclass

import numpy as np

from jobs.chalking.domain.draws import QUANTILES, draw_count, parameter_draws
from jobs.chalking.domain.fitting import Fit
from jobs.chalking.domain.growth import (
    AGAIN,
    FARTHEST_LOG_DOSE,
    LEAST_DOSE,
    LOG_SHAPE,
    LOG_SPREAD,
    NODE,
    Bools,
    Floats,
    Ints,
    Readings,
    Walls,
    evaluate,
    log_posterior,
    mean_rate,
    runs_of,
    shares_of,
)
from jobs.chalking.domain.like import LikeWalls


@dataclass(frozen=True)
class Crossings:
    """Doses [W, 3] at which walls pass the limit, since their present life began: at 10, 50 and 90 percent.

    `stories` [W] is the number of each wall's most likely story, whose beginning the doses are counted from; `shape`
    the exponent of growth at the best fit.
    """

    doses: Floats
    stories: Ints
    shape: float


def crossings(walls: Walls, readings: Readings, again_now: Bools, found: Fit, *, limit: float) -> Crossings:
    """Where walls pass the level `limit` (above 0), each by its own readings and by all the others'.

    `again_now` [W]: whether chalk was taken off in the past, so that the present life is not the first. Walls without
    readings get what the walls like them tell.
    """
    parameters = parameter_draws(found, draw_count(len(readings)))
    doses = np.empty((len(walls), len(QUANTILES)))
    stories = np.zeros(len(walls), dtype=np.int64)
    was_read = np.zeros(len(walls), dtype=bool)
    for chosen in readings.blocks():
        run = readings.take(chosen)
        rows = np.unique(run.wall)
        was_read[rows] = True
        doses[rows], stories[rows] = _of_run(parameters, walls, run, again_now, limit)
    doses[~was_read] = LikeWalls(parameters, limit).doses(walls.take(~was_read), again_now[~was_read])
    return Crossings(doses, stories, float(np.exp(found.theta[LOG_SHAPE])))


def _of_run(parameters: Floats, walls: Walls, run: Readings, again_now: Bools, limit: float) -> tuple[Floats, Ints]:
    """Quantiles of the dose over draws of the parameters, paces and stories; and each wall's most likely story."""
    runs = runs_of(run)
    owner = run.wall[runs.starts]
    where, weights = np.empty((2, len(owner), len(parameters), len(NODE)))
    for draw, theta in enumerate(parameters):
        rate = mean_rate(theta, walls)
        joint = log_posterior(evaluate(theta, rate, run).log_chance, run, runs)
        weights[:, draw], _ = shares_of(joint, runs)
        where[:, draw] = _log_doses(theta, rate, owner, again_now, limit)
    if run.stories is None:
        return _dose(_of_shares(where, weights)), np.zeros(len(owner), dtype=np.int64)
    head = run.stories.head[runs.starts]
    with np.errstate(divide="ignore"):
        where = np.logaddexp(np.log(head)[:, None, None], where)
    doses, likeliest = np.empty((len(runs.firsts), len(QUANTILES))), np.empty(len(runs.firsts), dtype=np.int64)
    counts = np.diff(np.append(runs.firsts, len(owner)))
    for count in np.unique(counts):
        rows = np.flatnonzero(counts == count)
        mine = runs.firsts[rows][:, None] + np.arange(count)
        likeliest[rows] = weights[mine].sum(axis=(2, 3)).argmax(axis=1)
        left_out = head[runs.firsts[rows] + likeliest[rows]]
        doses[rows] = np.maximum(_dose(_of_shares(where[mine], weights[mine])) - left_out[:, None], LEAST_DOSE)
    return doses, likeliest


def _log_doses(theta: Floats, rate: Floats, rows: Ints, again_now: Bools, limit: float) -> Floats:
    """Log of the dose at which walls of every pace pass the limit, an array [rows, NODES]."""
    pace = (rate[rows] + theta[AGAIN] * again_now[rows])[:, None] + np.exp(theta[LOG_SPREAD]) * NODE
    return np.asarray((np.log(limit) - pace) / np.exp(theta[LOG_SHAPE]))


def _of_shares(where: Floats, weights: Floats) -> Floats:
    """Quantiles [rows, 3] of all that stands behind the first axis."""
    size = int(np.prod(where.shape[1:]))
    return weighted_quantiles(where.reshape(-1, size), weights.reshape(-1, size))


def _dose(logs: Floats) -> Floats:
    return np.asarray(np.exp(np.clip(logs, -FARTHEST_LOG_DOSE, FARTHEST_LOG_DOSE)))


def weighted_quantiles(values: Floats, weights: Floats) -> Floats:
    """QUANTILES of each row of `values` under `weights`, interpolated between the middles of neighbouring weights."""
    order = np.argsort(values, axis=1)
    values, weights = np.take_along_axis(values, order, 1), np.take_along_axis(weights, order, 1)
    upto = weights.cumsum(axis=1)
    middle = (upto - weights / 2) / upto[:, -1:]
    found = np.empty((len(values), len(QUANTILES)))
    rows = np.arange(len(values))
    for column, share in enumerate(QUANTILES):
        after = np.clip((middle < share).sum(axis=1), 1, values.shape[1] - 1)
        low, high = middle[rows, after - 1], middle[rows, after]
        part = np.clip((share - low) / np.maximum(high - low, 1e-12), 0, 1)
        found[:, column] = values[rows, after - 1] * (1 - part) + values[rows, after] * part
    return found


def level_at(dose: Floats, crossing_dose: Floats, *, limit: float, shape: float) -> Floats:
    """The level at a dose, of a wall that passes `limit` at `crossing_dose`."""
    return np.asarray(limit * (dose / crossing_dose) ** shape)
