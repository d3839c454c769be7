"""Learning the minutes from booked jobs: a hierarchical log-linear model, shrunk to the rate card, deaf to slips.

    log minutes = log card - m s^2 / 2 + x b + e          s the service's deviation, m the mean factor
    b_j ~ N(0, g_k^2)                                      k the kind of column j (``design.GROUPS``)
    e   ~ N(0, s^2) with chance 1 - q,  N(0, OUTLIER^2) with chance q

The last line is Tukey's contaminated normal: a house wash booked with four minutes is far likelier a slip than a
job, and is then given next to no weight. Fitted by expectation and maximisation: the chance of each booking to be
sound; the posterior of b given the weights (one Cholesky factor, n columns); then s, g and q. The deviations s of
the services are drawn to their common value, the g to their first guesses, as if each guess were worth a few jobs.
With no jobs b is 0 and the model is the card.

Afterwards the shape of the spread is read off the residuals, each as if its job had been left out (the usual
identity of linear smoothers, r / (1 - h)), so that the quantiles hold although minutes are not quite log-normal.

Sources: J. W. Tukey, A survey of sampling from contaminated distributions (1960); A. P. Dempster, N. M. Laird,
D. B. Rubin, J. R. Stat. Soc. B 39 (1977) 1-38; N. Duan, Smearing estimate, J. Am. Stat. Assoc. 78 (1983) 605-610;
all from memory.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import ndtri
from scipy.stats import norm

from pricing.catalogue.domain import RateTerms
from pricing.minutes.domain.card import card_minutes
from pricing.minutes.domain.design import GROUPS, NO_CREW, columns_of
from pricing.minutes.domain.features import Observation
from pricing.minutes.domain.model import (
    FIRST_DEGREES,
    FIRST_DEVIATION,
    UPPER_LEVELS,
    MinutesModel,
    Spread,
    Vector,
)

OUTLIER_DEVIATION = 1.3  # a slip may be off by a factor of four either way
FIRST_SLIP_SHARE, SLIP_WORTH = 0.02, 100.0
GROSS = log(3.0)  # further off than this is a slip when the shape of the spread is read off
SHAPE_WORTH = 60.0  # jobs that the normal shape is worth
LEAST_DEVIATION = 0.05
ROUNDS = 40
STILL = 1e-3  # a round that moves no deviation by more than this is the last


@dataclass(frozen=True, slots=True)
class _Design:
    """Rows are bookings, columns effects."""

    x: Vector  # n by c
    columns: dict[str, int]
    groups: list[str]  # of each column
    group_of: np.ndarray  # c, number of the group
    log_ratio: Vector  # n, log minutes over the card
    services: list[str]
    service_of: np.ndarray  # n
    weights: Vector  # n


@dataclass(slots=True)
class _State:
    """What a round changes."""

    deviations: Vector  # of each service
    slip_share: float
    group_variances: Vector
    mean_factor: float
    means: Vector
    covariance: Vector
    soundness: Vector


def fit_minutes(observations: Sequence[Observation], rates: Mapping[str, RateTerms]) -> MinutesModel:
    """Learn from booked lines. Bookings of services without a rate are left out; their order does not matter.

    ``rates`` is the card in force, which the effects deviate from. Deterministic; a second for ten thousand lines.
    """
    usable = [booked for booked in observations if booked.features.service_code in rates]
    if not usable:
        return MinutesModel(rates=rates)
    design = _design(usable, rates)
    state = _first_state(design)
    for _round in range(ROUNDS):
        before = state.deviations.copy(), state.group_variances.copy()
        _round_of(design, state)
        moved = max(
            np.abs(state.deviations - before[0]).max(),
            np.abs(np.sqrt(state.group_variances) - np.sqrt(before[1])).max(),
        )
        if moved < STILL:
            break
    return _model(usable, rates, design, state)


def _design(observations: Sequence[Observation], rates: Mapping[str, RateTerms]) -> _Design:
    cells: list[tuple[int, int, float]] = []
    columns: dict[str, int] = {}
    groups: list[str] = []
    services = sorted({booked.features.service_code for booked in observations})
    for row, booked in enumerate(observations):
        for column in columns_of(booked.features, rates[booked.features.service_code]):
            if column.name.endswith(NO_CREW):
                continue
            if column.name not in columns:
                columns[column.name] = len(columns)
                groups.append(column.group)
            cells.append((row, columns[column.name], column.value))
    x = np.zeros((len(observations), len(columns)))
    rows, places, values = zip(*cells, strict=True)
    x[list(rows), list(places)] = values
    names = list(GROUPS)
    return _Design(
        x=x,
        columns=columns,
        groups=groups,
        group_of=np.array([names.index(group) for group in groups]),
        log_ratio=np.array(
            [log(b.minutes / card_minutes(rates[b.features.service_code], b.features)) for b in observations]
        ),
        services=services,
        service_of=np.array([services.index(booked.features.service_code) for booked in observations]),
        weights=np.array([booked.weight for booked in observations]),
    )


def _first_state(design: _Design) -> _State:
    count, width = design.x.shape
    return _State(
        deviations=np.full(len(design.services), FIRST_DEVIATION),
        slip_share=FIRST_SLIP_SHARE,
        group_variances=np.array([prior.deviation**2 for prior in GROUPS.values()]),
        mean_factor=1.0,
        means=np.zeros(width),
        covariance=np.zeros((width, width)),
        soundness=_first_soundness(design),
    )


def _first_soundness(design: _Design) -> Vector:
    """Bookings far from the middle of their service start as slips, so that the first fit is not drawn to them."""
    middle = np.array([np.median(design.log_ratio[design.service_of == k]) for k in range(len(design.services))])
    return np.where(np.abs(design.log_ratio - middle[design.service_of]) > GROSS, 0.01, 0.98)


def _round_of(design: _Design, state: _State) -> None:
    """One round: effects, soundness of the bookings, deviations, kinds of effects, share of slips, mean factor."""
    target = design.log_ratio + state.mean_factor * state.deviations[design.service_of] ** 2 / 2
    precision = design.weights * _precision(design, state)
    prior_variances = state.group_variances[design.group_of]
    state.means, state.covariance = effects_posterior(design.x, target, precision, prior_variances)
    residuals = target - design.x @ state.means
    doubt = _doubt(design, state)
    state.soundness = _soundness(design, state, residuals)
    _deviations(design, state, residuals**2 + doubt)
    _group_variances(design, state)
    slips = float(design.weights @ (1 - state.soundness))
    state.slip_share = (SLIP_WORTH * FIRST_SLIP_SHARE + slips) / (SLIP_WORTH + float(design.weights.sum()))
    state.mean_factor = _mean_factor(design, state)


def effects_posterior(x: Vector, target: Vector, precision: Vector, prior_variances: Vector) -> tuple[Vector, Vector]:
    """Means (c) and covariance (c by c) of the effects of the columns of ``x`` (n by c) on ``target`` (n).

    Each row is known with its ``precision`` (one over its variance), each effect is 0 beforehand with its variance.
    The wider these are, the closer it is to least squares.
    """
    weighted = x * precision[:, None]
    factor = cho_factor(weighted.T @ x + np.diag(1 / prior_variances), lower=True)
    return cho_solve(factor, weighted.T @ target), cho_solve(factor, np.eye(x.shape[1]))


def _doubt(design: _Design, state: _State) -> Vector:
    """The variance of what is expected of each booking, from the effects' uncertainty."""
    return np.asarray(((design.x @ state.covariance) * design.x).sum(axis=1))


def _precision(design: _Design, state: _State) -> Vector:
    sound = state.soundness
    return np.asarray(sound / state.deviations[design.service_of] ** 2 + (1 - sound) / OUTLIER_DEVIATION**2)


def _soundness(design: _Design, state: _State, residuals: Vector) -> Vector:
    """The chance of each booking to be a job and not a slip."""
    job = (1 - state.slip_share) * norm.pdf(residuals, scale=state.deviations[design.service_of])
    slip = state.slip_share * norm.pdf(residuals, scale=OUTLIER_DEVIATION)
    return np.asarray(job / (job + slip))


def _deviations(design: _Design, state: _State, squares: Vector) -> None:
    """Each service's spread, drawn to the common one as if that were worth a dozen jobs."""
    sound = design.weights * state.soundness
    common = (FIRST_DEGREES * FIRST_DEVIATION**2 + sound @ squares) / (FIRST_DEGREES + sound.sum())
    sums = np.bincount(design.service_of, sound * squares, len(design.services))
    jobs = np.bincount(design.service_of, sound, len(design.services))
    variances = (FIRST_DEGREES * common + sums) / (FIRST_DEGREES + jobs)
    state.deviations = np.maximum(np.sqrt(variances), LEAST_DEVIATION)


def _group_variances(design: _Design, state: _State) -> None:
    squares = state.means**2 + np.diag(state.covariance)
    sums = np.bincount(design.group_of, squares, len(GROUPS))
    counts = np.bincount(design.group_of, minlength=len(GROUPS))
    worth = np.array([prior.worth for prior in GROUPS.values()])
    first = np.array([prior.deviation**2 for prior in GROUPS.values()])
    state.group_variances = (worth * first + sums) / (worth + counts)


def _usable_residuals(design: _Design, state: _State) -> tuple[Vector, Vector]:
    """Residuals as if each job had been left out, and which of them are no gross slips."""
    target = design.log_ratio + state.mean_factor * state.deviations[design.service_of] ** 2 / 2
    doubt = _doubt(design, state)
    leverage = np.minimum(doubt * design.weights * _precision(design, state), 0.95)
    residuals = (target - design.x @ state.means) / (1 - leverage)
    return residuals, np.abs(residuals) < GROSS


def _mean_factor(design: _Design, state: _State) -> float:
    """What the mean of the jobs is above their median, over half the variance; 1 for a log-normal spread.

    Duan's smearing over all but gross slips, drawn to 1: a job that met trouble counts, a slip does not.
    """
    residuals = design.log_ratio - design.x @ state.means
    residuals = residuals - np.median(residuals)
    keep = np.abs(residuals) < GROSS
    half_variance = float(np.average(state.deviations[design.service_of][keep] ** 2 / 2, weights=design.weights[keep]))
    smeared = log(float(np.average(np.exp(residuals[keep]), weights=design.weights[keep])))
    jobs = float(design.weights[keep].sum())
    found = min(max(smeared / half_variance, 0.0), 3.0)
    return (SHAPE_WORTH + jobs * found) / (SHAPE_WORTH + jobs)


def _shape(design: _Design, state: _State) -> tuple[float, float, float]:
    """Median, 80 % and 90 % of the standardised residuals left out, drawn to those of a normal distribution."""
    residuals, keep = _usable_residuals(design, state)
    doubt = _doubt(design, state)
    scale = np.sqrt(state.deviations[design.service_of] ** 2 + doubt)
    jobs = float(design.weights[keep].sum())
    share = jobs / (jobs + SHAPE_WORTH)
    found = np.quantile((residuals / scale)[keep], (0.5, *UPPER_LEVELS)) if keep.any() else np.zeros(3)
    normal = np.array([0.0, *(ndtri(level) for level in UPPER_LEVELS)])
    middle, high, higher = share * found + (1 - share) * normal
    return float(middle), float(high), float(max(higher, high + 0.1))


def _model(
    observations: Sequence[Observation], rates: Mapping[str, RateTerms], design: _Design, state: _State
) -> MinutesModel:
    sound = design.weights * state.soundness
    jobs = np.bincount(design.service_of, sound, len(design.services))
    like: dict[tuple[str, bool], float] = {}
    for booked, weight in zip(observations, sound, strict=True):
        key = (booked.features.service_code, booked.features.storeys > 1)
        like[key] = like.get(key, 0.0) + float(weight)
    usual = float(np.sqrt(np.average(state.deviations**2, weights=jobs + 1e-9)))
    return MinutesModel(
        rates={code: rates[code] for code in design.services},
        columns=design.columns,
        means=state.means,
        covariance=state.covariance,
        group_deviation={name: float(np.sqrt(v)) for name, v in zip(GROUPS, state.group_variances, strict=True)},
        spreads={
            code: Spread(float(deviation), FIRST_DEGREES + float(n))
            for code, deviation, n in zip(design.services, state.deviations, jobs, strict=True)
        },
        usual_spread=Spread(usual, FIRST_DEGREES),
        shape=_shape(design, state),
        mean_factor=state.mean_factor,
        jobs={code: float(n) for code, n in zip(design.services, jobs, strict=True)},
        jobs_like=like,
        misbooked_share=state.slip_share,
    )
