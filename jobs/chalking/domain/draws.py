"""How a fit's own uncertainty goes into what is told: vectors of parameters, and the shares of 80 percent intervals."""

import numpy as np

from jobs.chalking.domain.fitting import FEW, Fit
from jobs.chalking.domain.growth import Floats

DRAWS, DRAWS_OF_FEW = 40, 200  # from more than FEW readings parameters are so sure that fewer draws tell the same
SEED = 4628  # the draws are the same each night, so that a forecast moves only where something was read
EARLY, MIDDLE, LATE = 0.1, 0.5, 0.9
QUANTILES = (EARLY, MIDDLE, LATE)


def draw_count(readings: int) -> int:
    """How many draws tell enough, by the number of readings that were fitted."""
    return DRAWS_OF_FEW if readings <= FEW else DRAWS


def parameter_draws(found: Fit, count: int) -> Floats:
    """Vectors [count, P] from the fit's normal approximation, in pairs around its middle; `count` is even."""
    half = np.random.default_rng(SEED).multivariate_normal(
        np.zeros(len(found.theta)), found.covariance, count // 2, method="eigh"
    )
    return np.asarray(found.theta + np.concatenate([half, -half]))
