"""What was learnt from the booked jobs, as one frozen value: effects, how sure they are, and the spread."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pricing.catalogue.domain import RateTerms
from pricing.minutes.domain.design import GROUPS, NO_CREW, Column
from pricing.minutes.domain.features import JobFeatures

FIRST_DEVIATION = 0.28  # of log minutes within a kind of work, before any job is known: most within a third
FIRST_DEGREES = 12.0  # how many jobs that guess is worth
UPPER_LEVELS = (0.8, 0.9)

Vector = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviation of log minutes around what is expected of a service, and the degrees of freedom of it."""

    deviation: float = FIRST_DEVIATION
    degrees: float = FIRST_DEGREES


@dataclass(frozen=True)
class MinutesModel:
    """Posterior of the effects of ``columns`` on log minutes: their means and covariance, n columns.

    ``rates`` is the card that the effects deviate from, by service. ``group_deviation`` is what a column that was
    never seen may be. ``shape`` are the standardised residuals below which the median, 80 % and 90 % of the past
    jobs fell (for a normal distribution 0, 0.84, 1.28); ``mean_factor`` relates the mean to half the variance.
    ``jobs`` counts jobs by service and by (service, more than one storey).
    """

    rates: Mapping[str, RateTerms]
    columns: Mapping[str, int] = field(default_factory=dict)
    means: Vector = field(default_factory=lambda: np.zeros(0))
    covariance: Vector = field(default_factory=lambda: np.zeros((0, 0)))
    group_deviation: Mapping[str, float] = field(
        default_factory=lambda: {group: prior.deviation for group, prior in GROUPS.items()}
    )
    spreads: Mapping[str, Spread] = field(default_factory=dict)
    usual_spread: Spread = field(default_factory=Spread)
    shape: tuple[float, float, float] = (0.0, 0.8416212335729143, 1.2815515655446004)
    mean_factor: float = 1.0
    jobs: Mapping[str, float] = field(default_factory=dict)
    jobs_like: Mapping[tuple[str, bool], float] = field(default_factory=dict)
    misbooked_share: float = 0.0

    def rate_for(self, features: JobFeatures, rate: RateTerms) -> RateTerms:
        """The card that the effects of this service deviate from; ``rate`` for a service that was not there."""
        return self.rates.get(features.service_code, rate)

    def effect(self, columns: Iterable[Column]) -> float:
        """Sum of the effects on log minutes."""
        known = ((column.value, self._place(column)) for column in columns)
        return sum(value * float(self.means[place]) for value, place in known if place is not None)

    def variance(self, columns: Iterable[Column]) -> float:
        """How uncertain that sum is; a column that was never seen adds the whole spread of its kind."""
        known: list[tuple[int, float]] = []
        unseen = 0.0
        for column in columns:
            place = self._place(column)
            if place is None:
                unseen += (column.value * self.group_deviation[column.group]) ** 2
            else:
                known.append((place, column.value))
        places = [place for place, _value in known]
        values = np.array([value for _place, value in known])
        return unseen + float(values @ self.covariance[np.ix_(places, places)] @ values) if known else unseen

    def spread(self, service_code: str) -> Spread:
        """How far jobs of the service stray from what is expected of them."""
        return self.spreads.get(service_code, self.usual_spread)

    def _place(self, column: Column) -> int | None:
        return None if column.name.endswith(NO_CREW) else self.columns.get(column.name)


def card_model(rates: Mapping[str, RateTerms]) -> MinutesModel:
    """The model before any job: the card as it stands, with a wide spread."""
    return MinutesModel(rates=rates)
