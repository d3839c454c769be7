"""When a wall that nobody read passes a level: what the walls like it say.

Such a wall has no readings to weigh its own pace, or how old it is, by. So its pace is any that walls have, the
parameters are drawn from the fit's normal approximation as for walls that were read, and where it may be younger than
its house every story keeps the chance it had before. The dose at which it passes, counted from the assumed beginning,
is then `head of its story + dose of its pace`, and its quantiles are found by halving.

Walls of one company, material, kind and colour that are all in a first life, or all in a later one, differ in their
stories only: what their paces give is tabled once for each such kind.
"""

from dataclasses import dataclass, field
from statistics import NormalDist

import numpy as np

from jobs.chalking.domain.draws import QUANTILES
from jobs.chalking.domain.growth import (
    AGAIN,
    FARTHEST_LOG_DOSE,
    FIXED,
    INTERCEPT,
    LEAST_DOSE,
    LOG_SHAPE,
    LOG_SPREAD,
    LOG_WEIGHT,
    MID_TONE,
    NODE,
    SLOPE,
    Bools,
    Floats,
    Walls,
)

POINTS = 513
REACH = 3.5  # standard deviations on either side that a table tells
SHARES = np.array([NormalDist().cdf(deviate) for deviate in np.linspace(-REACH, REACH, POINTS)])
HALVINGS = 40


@dataclass(frozen=True)
class Ages:
    """The stories of W walls, K of each: `head` [W, K] is the dose from the assumed beginning of the wall's life to the
    story's, 0 for the first; `chance` [W, K] adds up to 1, and is 0 for stories that a wall does not have."""

    head: Floats
    chance: Floats


@dataclass
class LikeWalls:
    """The doses at which walls of each kind pass `limit` (above 0), by draws of the parameters [D, P] of a fit.

    A kind is tabled when a wall of it is first met, so that walls may be asked for in parts.
    """

    parameters: Floats
    limit: float
    tables: dict[bytes, Floats] = field(default_factory=dict)

    def doses(self, walls: Walls, again_now: Bools, ages: Ages | None = None) -> Floats:
        """Doses [W, 3] at which walls pass, at 10, 50 and 90 percent, from the assumed beginnings of their lives.

        `again_now` [W]: whether chalk was taken off before, so that the present life is not the first. Without `ages`
        each wall has one story.
        """
        found = np.empty((len(walls), len(QUANTILES)))
        keys = np.column_stack([walls.effects, walls.darkness, again_now])
        _kinds, first, kind = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        is_sure = np.ones(len(walls), dtype=bool) if ages is None else ages.chance[:, 0] == 1
        order = np.argsort(kind.ravel(), kind="stable")
        ends = np.cumsum(np.bincount(kind.ravel(), minlength=len(first)))
        for at, end, count in zip(first, ends, np.diff(ends, prepend=0), strict=True):
            rows = order[end - count : end]
            table = self._table(walls, int(at), is_again=bool(again_now[at]))
            sure, rest = rows[is_sure[rows]], rows[~is_sure[rows]]
            found[sure] = np.exp(np.interp(QUANTILES, SHARES, table))
            if ages is not None and len(rest):
                found[rest] = _mixed(table, ages.head[rest], ages.chance[rest])
        return found

    def _table(self, walls: Walls, at: int, *, is_again: bool) -> Floats:
        """Logs of the doses by which SHARES of the walls of one kind have passed."""
        key = np.array([*walls.effects[at], walls.darkness[at], is_again], dtype=float).tobytes()
        if key not in self.tables:
            self.tables[key] = self._tabled(walls, at, is_again=is_again)
        return self.tables[key]

    def _tabled(self, walls: Walls, at: int, *, is_again: bool) -> Floats:
        drawn = self.parameters
        rate = drawn[:, INTERCEPT] + drawn[:, SLOPE] * (walls.darkness[at] - MID_TONE) + drawn[:, AGAIN] * is_again
        rate = rate + drawn[:, FIXED + walls.effects[at]].sum(axis=1)
        pace = rate[:, None] + np.exp(drawn[:, LOG_SPREAD])[:, None] * NODE
        logs = ((np.log(self.limit) - pace) / np.exp(drawn[:, LOG_SHAPE])[:, None]).ravel()
        weights = np.tile(np.exp(LOG_WEIGHT), len(drawn))
        order = np.argsort(logs)
        upto = weights[order].cumsum()
        told = np.interp(SHARES, (upto - weights[order] / 2) / upto[-1], logs[order])
        return np.asarray(np.clip(told, -FARTHEST_LOG_DOSE, FARTHEST_LOG_DOSE))


def _mixed(table: Floats, head: Floats, chance: Floats) -> Floats:
    """Quantiles [W, 3] of head plus dose over the stories [W, K] of walls of one kind."""
    found = np.empty((len(head), len(QUANTILES)))
    farthest = np.log(np.exp(table[-1]) + head.max(axis=1, initial=0.0))
    for column, share in enumerate(QUANTILES):
        low, high = np.full(len(head), table[0]), farthest
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            own = np.log(np.maximum(np.exp(middle)[:, None] - head, LEAST_DOSE))
            passed = (chance * np.interp(own, table, SHARES, left=0.0, right=1.0)).sum(axis=1)
            low, high = np.where(passed < share, middle, low), np.where(passed < share, high, middle)
        found[:, column] = np.exp(high)
    return found
