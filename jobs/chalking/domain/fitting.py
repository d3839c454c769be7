"""Fitting the growth model to all walls at once: the most likely parameters and how sure they are.

Penalised maximum likelihood (the priors of `growth` are the penalty) with every wall's own pace summed out, then
Laplace's approximation: around the best fit the parameters are taken as normal with the inverse of the curvature as
covariance. The curvature comes from differences of the exact gradient.

With few readings the best fit is not the middle: noise and spread come out too small, since effects and biases were
fitted to the same readings, and the intervals too narrow. Up to FEW readings the middle is moved by the first-order
term of Laplace's expansion, -1/2 covariance x gradient of log |curvature|, along shape, noise and spread, and by one
standard deviation at most, since beyond it the expansion says nothing.

Many walls are fitted in two strokes. A part of them, every k-th wall so that all companies and materials are in it,
gives a fit and a curvature; in coordinates in which that curvature is the unit matrix the whole set is nearly round and
needs a handful of looks. From PART readings on, the covariance is the part's, scaled by the share of readings.
"""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.linalg import cho_solve, solve_triangular
from scipy.optimize import minimize

from jobs.chalking.domain.growth import (
    LOG_NOISE,
    LOG_SHAPE,
    LOG_SPREAD,
    Floats,
    Readings,
    Walls,
    parameter_count,
    prior_of,
    value_and_gradient,
)

PART = 30_000  # readings
FEW = 3_000  # readings
SLOPE_TOLERANCE = 1e-2
DIFFERENCE = 1e-4
MOST_LOOKS = 300
LEAST_CURVATURE = 0.25  # of the prior's: nothing that was read makes a parameter less sure than twice its prior spread
FARTHEST = 6.0  # prior standard deviations


@dataclass(frozen=True)
class Fit:
    """Parameters [P], their covariance [P, P], and what they cost: looks at the data and the best log posterior."""

    theta: Floats
    covariance: Floats
    looks: int
    log_posterior: float


@dataclass
class Objective:
    """Minus the log posterior and its gradient; counts how often it was asked."""

    walls: Walls
    readings: Readings
    threads: int = 1
    looks: int = 0

    def __post_init__(self) -> None:
        self.mean, self.spread = prior_of(self.walls.effect_count, self.readings.reader_count)

    def __call__(self, theta: Floats) -> tuple[float, Floats]:
        self.looks += 1
        away = (theta - self.mean) / self.spread
        if not len(self.readings):
            return 0.5 * float(away @ away), away / self.spread
        value, gradient = value_and_gradient(theta, self.walls, self.readings, threads=self.threads)
        return 0.5 * float(away @ away) - value, away / self.spread - gradient

    def curvature(self, theta: Floats) -> Floats:
        """Second derivatives by central differences of the gradient, a matrix [P, P]."""
        rows = []
        for i, scale in enumerate(self.spread):
            step = np.zeros(len(theta))
            step[i] = DIFFERENCE * scale
            rows.append((self(theta + step)[1] - self(theta - step)[1]) / (2 * step[i]))
        matrix = np.array(rows)
        return np.asarray((matrix + matrix.T) / 2)


def fit(walls: Walls, readings: Readings, *, start: Floats | None = None, threads: int = 1) -> Fit:
    """Fit to all readings. `start` is an earlier fit's `theta` of the same length; no readings give the prior."""
    if start is not None and len(start) != parameter_count(walls, readings):
        raise ValueError(f"The start has {len(start)} parameters, {parameter_count(walls, readings)} are needed.")
    if len(readings) <= PART:
        objective = Objective(walls, readings, threads)
        found = _fit_plain(objective, start)
        return _moved_to_the_middle(objective, found) if 0 < len(readings) <= FEW else found
    part = every_kth_wall(readings, -(-len(readings) // PART))
    first = _fit_plain(Objective(walls, part, threads), start)
    return _fit_round(Objective(walls, readings, threads), first, len(part) / len(readings))


def every_kth_wall(readings: Readings, k: int) -> Readings:
    """The readings of every k-th wall that was read."""
    chosen = np.flatnonzero(np.unique(readings.wall, return_inverse=True)[1] % k == 0)
    return readings.take(chosen)


def _fit_plain(objective: Objective, start: Floats | None) -> Fit:
    """From the prior or an earlier fit, each parameter measured in its prior standard deviation."""
    mean, spread = objective.mean, objective.spread
    begin = np.zeros(len(mean)) if start is None else np.clip((start - mean) / spread, -FARTHEST, FARTHEST)

    def scaled(away: Floats) -> tuple[float, Floats]:
        value, gradient = objective(mean + spread * away)
        return value, gradient * spread

    found = minimize(
        scaled, begin, jac=True, method="L-BFGS-B", bounds=[(-FARTHEST, FARTHEST)] * len(mean),
        options={"maxfun": MOST_LOOKS, "gtol": SLOPE_TOLERANCE, "maxcor": 20},
    )  # fmt: skip
    theta = mean + spread * found.x
    return Fit(theta, covariance_of(objective.curvature(theta), spread), objective.looks, -float(found.fun))


def _moved_to_the_middle(objective: Objective, found: Fit) -> Fit:
    """The fit with its parameters moved from the mode towards the mean of their posterior."""
    slope = np.zeros(len(found.theta))
    for i in (LOG_SHAPE, LOG_NOISE, LOG_SPREAD):
        step = np.zeros(len(slope))
        step[i] = 0.3 * np.sqrt(found.covariance[i, i])
        ends = [_positive(objective.curvature(found.theta + way * step), objective.spread) for way in (1, -1)]
        sizes = [np.linalg.slogdet(end)[1] for end in ends]
        slope[i] = (sizes[0] - sizes[1]) / (2 * step[i])
    way = -found.covariance @ slope / 2
    longest = np.max(np.abs(way) / np.sqrt(np.diag(found.covariance)))
    return replace(found, theta=found.theta + way / max(1.0, longest), looks=objective.looks)


def _fit_round(objective: Objective, first: Fit, share: float) -> Fit:
    """From the fit of a part, in coordinates in which its curvature is the unit matrix."""
    precision = np.linalg.inv(first.covariance)
    prior = np.diag(objective.spread**-2)
    whole = prior + (precision - prior) / share
    root = np.linalg.cholesky(_positive(whole, objective.spread))
    turn = partial(solve_triangular, root.T, lower=False)

    def turned(away: Floats) -> tuple[float, Floats]:
        value, gradient = objective(first.theta + turn(away))
        return value, solve_triangular(root, gradient, lower=True)

    found = minimize(
        turned, np.zeros(len(first.theta)), jac=True, method="L-BFGS-B",
        options={"maxfun": MOST_LOOKS, "gtol": 0.1, "ftol": 1e-12},
    )  # fmt: skip
    covariance = cho_solve((root, True), np.eye(len(root)))
    return Fit(first.theta + turn(found.x), covariance, objective.looks, -float(found.fun))


def covariance_of(curvature: Floats, spread: Floats) -> Floats:
    """The inverse; no direction is taken for less sure than LEAST_CURVATURE says, `spread` [P] being the prior's."""
    return np.asarray(np.linalg.inv(_positive(curvature, spread)))


def _positive(matrix: Floats, spread: Floats) -> Floats:
    """A matrix [P, P] of second derivatives, raised where a flat or hollow spot makes it less than the prior allows."""
    scale = np.outer(spread, spread)
    values, vectors = np.linalg.eigh(scale * (matrix + matrix.T) / 2)
    return np.asarray((vectors * np.maximum(values, LEAST_CURVATURE)) @ vectors.T / scale)
