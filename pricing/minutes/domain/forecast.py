"""How long a job will take: mean, median, the 80 % and 90 % quantiles, and where the number comes from.

Minutes are log-normal around the card times the learnt effects, with a spread that was learnt too:

    log minutes = log card + effects + deviation x s,   s by the shape of the past jobs' residuals
    mean        = card x exp(effects)
    median      = card x exp(effects - mean_factor x deviation^2 / 2)

The card is a long-run rate (units an hour), so it is the mean, not the median. Quantiles add the uncertainty of the
effects to the spread and widen by Student's t for a spread that is itself a guess.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import exp, log, sqrt

import numpy as np
from scipy.special import ndtri, stdtr, stdtrit

from pricing.catalogue.domain import Access, RateTerms, Soil
from pricing.minutes.domain.card import card_minutes
from pricing.minutes.domain.design import columns_of
from pricing.minutes.domain.features import JobFeatures
from pricing.minutes.domain.model import UPPER_LEVELS, MinutesModel, card_model
from shared.units import round_half_up

FAR = 12.0  # standard deviations at which the tails are cut off for looking up


@dataclass(frozen=True, slots=True)
class Effect:
    """One reason why the minutes differ: of the job as the card has it, in percent, in the order of multiplying.

    ``factor`` is ``history`` (the company against its card), ``storeys``, ``access``, ``soil``, ``chalk``,
    ``material``, ``crew`` or ``season``; ``level`` is what the job has of it.
    """

    factor: str
    level: str
    percent: int


@dataclass(frozen=True, slots=True)
class MinutesForecast:
    """Minutes on site of a two-person crew, and how sure they are.

    ``card_minutes`` is what the card alone says. ``based_on_jobs`` counts past jobs of the service with as many
    storeys (one, or more), ``service_jobs`` all of the service; 0 and 0: the card alone. The remaining fields are
    the distribution of log minutes: quantiles at ``knots`` of Student's t.
    """

    mean: float
    median: float
    card_minutes: float
    based_on_jobs: int
    service_jobs: int
    effects: tuple[Effect, ...]
    scale: float
    degrees: float
    knots: tuple[tuple[float, float], ...]

    @property
    def mean_minutes(self) -> int:
        return _whole(self.mean)

    @property
    def median_minutes(self) -> int:
        return _whole(self.median)

    @property
    def q80_minutes(self) -> int:
        return _whole(self.quantile(0.8))

    @property
    def q90_minutes(self) -> int:
        return _whole(self.quantile(0.9))

    def quantile(self, share: float) -> float:
        """The minutes that ``share`` (above 0, below 1) of such jobs stay below. Not rounded."""
        if not 0 < share < 1:
            raise ValueError(f"Expected a share between 0 and 1, got {share}.")
        t_values, deviations = zip(*self.knots, strict=True)
        return self.median * exp(self.scale * float(np.interp(stdtrit(self.degrees, share), t_values, deviations)))

    def chance_within(self, minutes: float) -> float:
        """The chance that the job takes at most ``minutes``; 0 for no time at all."""
        if minutes <= 0:
            return 0.0
        t_values, deviations = zip(*self.knots, strict=True)
        deviation = log(minutes / self.median) / self.scale
        return float(stdtr(self.degrees, np.interp(deviation, deviations, t_values)))


def expected_minutes(features: JobFeatures, rate: RateTerms, model: MinutesModel | None = None) -> MinutesForecast:
    """The forecast for a line: from the card alone where there is no model, otherwise from what was learnt.

    ``rate`` is the service on the card in force; a model keeps the card that it was fitted against, so a new card
    changes forecasts of a known service only with the next fit. Raises nothing for services, crews or materials
    that the model has not seen: they get the card, and a wider spread.
    """
    model = model or card_model({features.service_code: rate})
    rate = model.rate_for(features, rate)
    columns = list(columns_of(features, rate))
    spread = model.spread(features.service_code)
    card = card_minutes(rate, features)
    mean = card * exp(model.effect(columns))
    median_gap = model.mean_factor * spread.deviation**2 / 2
    knots = _knots(model.shape, spread.degrees)
    return MinutesForecast(
        mean=mean,
        median=mean * exp(-median_gap),
        card_minutes=card,
        based_on_jobs=round_half_up(model.jobs_like.get((features.service_code, features.storeys > 1), 0.0)),
        service_jobs=round_half_up(model.jobs.get(features.service_code, 0.0)),
        effects=tuple(_effects(features, rate, model)),
        scale=sqrt(spread.deviation**2 + model.variance(columns)),
        degrees=spread.degrees,
        knots=knots,
    )


def _whole(minutes: float) -> int:
    return max(1, round_half_up(minutes))


def _knots(shape: tuple[float, float, float], degrees: float) -> tuple[tuple[float, float], ...]:
    """Student's t at the learnt levels against standardised deviations; straight between, and on beyond 90 %."""
    middle, *upper = shape
    t_upper = [float(stdtrit(degrees, level)) for level in UPPER_LEVELS]
    wider = [t / float(ndtri(level)) for t, level in zip(t_upper, UPPER_LEVELS, strict=True)]
    tops = [value * by for value, by in zip(upper, wider, strict=True)]
    slope = max(1.0, (tops[1] - tops[0]) / (t_upper[1] - t_upper[0]))
    inner = zip(t_upper, tops, strict=True)
    return ((-FAR, middle - FAR), (0.0, middle), *inner, (FAR, tops[1] + slope * (FAR - t_upper[1])))


def _effects(features: JobFeatures, rate: RateTerms, model: MinutesModel) -> Iterator[Effect]:
    """From the plainest job of this size to this one, a factor at a time; the parts multiply to the mean."""
    plain = replace(
        features,
        storeys=1, access=Access.USUAL, soil=Soil.USUAL, chalk_reading=None, material="", crew_code="", season=None,
    )  # fmt: skip
    learnt = model.effect(columns_of(plain, rate))
    if features.service_code in model.jobs:
        yield Effect("history", "", _percent(learnt))
    before, job = _log_mean(plain, rate, model), plain
    for factor, name in STEPS:
        job = replace(job, **{name: getattr(features, name)})
        after = _log_mean(job, rate, model)
        level = getattr(features, name)
        if percent := _percent(after - before):
            yield Effect(factor, str(level), percent)
        before = after


STEPS = (
    ("storeys", "storeys"),
    ("access", "access"),
    ("soil", "soil"),
    ("chalk", "chalk_reading"),
    ("material", "material"),
    ("crew", "crew_code"),
    ("season", "season"),
)


def _log_mean(features: JobFeatures, rate: RateTerms, model: MinutesModel) -> float:
    return log(card_minutes(rate, features)) + model.effect(columns_of(features, rate))


def _percent(log_ratio: float) -> int:
    return round_half_up(100 * (exp(log_ratio) - 1))
