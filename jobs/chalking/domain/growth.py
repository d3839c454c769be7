"""How chalk grows, and how likely the readings are: the model that is fitted to all walls at once.

The chalk of a wall i at dose D (in years of the site's south face, since the siding was fitted or the chalk last taken
off) is

    level = exp(rate_i) D^shape        rate_i = intercept + darkness_i x slope + effects_i + u_i (+ again)

with one effect for each company, material and kind of wall, `u_i ~ N(0, spread^2)` the wall's own pace, and `again`
where chalk was taken off before. A reader feels `level + bias of the reader (+ rain)`, with logistic noise of scale
`noise`, and writes down the half step that this falls into: 0 is everything below 0.25, 5 everything from 4.75 on. So a
reading tells an interval and no number; this is exact also where many readings are 0.

u_i is summed out wall by wall over an even grid of NODES points: the trapezoid rule, which for smooth integrands is
exact to a hundredth of a log unit except where readings are all but impossible. The gradient is the posterior mean of
the gradient at the nodes (Fisher's identity), computed in the same pass. The logistic law costs one exponential for
both ends of an interval: with e = exp((level - high) / noise), F(high) = 1/(1 + e) and 1 - F(low) = e q/(1 + e q),
q = exp(0.5/noise).

Where only the year of the house is known, its siding may be younger (`life.beginnings`). Such a wall has several
stories, each with a prior chance and with doses of its own; its chance is the sum over stories as over paces.

Priors. No rate of vinyl chalking was ever published, so these are OURS and wide on purpose; they are on PRIOR below.
The middle comes from the trade's habit of taking chalk off every three to six years (common practice, no source).
"""

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np

Floats = np.ndarray[Any, np.dtype[np.float64]]
Ints = np.ndarray[Any, np.dtype[np.int64]]
Bools = np.ndarray[Any, np.dtype[np.bool_]]

STEP = 0.5  # of the field scale
STEPS = 11
NODES = 57
REACH = 4.5  # standard deviations of a wall's own pace that are looked at, on either side
MOST_LEVEL = 12.0  # far beyond the scale: chalk above it reads the same
LEAST_DOSE = 1e-3
FARTHEST_LOG_DOSE = 20.0
FARTHEST_OFF = 300.0  # in scales of the noise: its chance, e^-300, is as good as none
READINGS_AT_ONCE = 4096  # so that a block of readings x nodes stays in the processor's cache

NODE = np.linspace(-REACH, REACH, NODES)
LOG_WEIGHT = -0.5 * NODE**2 - np.log(np.exp(-0.5 * NODE**2).sum())

# Mean and standard deviation of each parameter before anything was read. Ours.
PRIOR = {
    "intercept": (np.log(0.35), 0.9),  # level per south-face year of a mid-tone wall: 0.11 to 1.1 in four of five
    "slope": (0.4, 0.4),  # on darkness: 1 is black, 0 white
    "again": (0.0, 0.3),  # after a removal, against the first life of the siding
    "rain": (-0.2, 0.2),  # on readings within three days of rain: it washes powder off
    "log_shape": (0.0, 0.2),
    "log_noise": (np.log(0.2), 0.4),  # 0.2 is a standard deviation of 0.36 on the scale
    "log_spread": (np.log(0.4), 0.35),
}
NAMES = tuple(PRIOR)
FIXED = len(NAMES)
INTERCEPT, SLOPE, AGAIN, RAIN, LOG_SHAPE, LOG_NOISE, LOG_SPREAD = range(FIXED)
EFFECT_SPREAD = 0.4  # of companies, materials and kinds around nothing
READER_SPREAD = 0.25  # of readers around the truth, on the scale
UNKNOWN_SPREAD = 0.05  # of readings whose reader is not known, reader 0: they set the scale where nobody else reads
MID_TONE = 0.4  # darkness of a wall whose colour is not known
RAIN_DAYS = 3


@dataclass(frozen=True)
class Walls:
    """W walls with at least one effect each.

    `effects` int [W, F]: numbers of the effects that bear on each wall, each 0 to `effect_count` - 1; `darkness` [W]
    from 0 (white) to 1 (black).
    """

    effects: Ints
    darkness: Floats
    effect_count: int

    def __len__(self) -> int:
        return len(self.darkness)

    def take(self, chosen: Any) -> "Walls":
        return Walls(self.effects[chosen], self.darkness[chosen], self.effect_count)


@dataclass(frozen=True)
class Stories:
    """How old each wall may truly be: every story of a wall repeats all its readings, with doses of its own.

    `number` [R] tells the stories of a wall apart, 0 up; `log_chance` [R] is that of the reading's story before
    anything was read; `head` [R] what dose the story leaves out, from the wall's assumed beginning to the story's (0
    where the present life began with a removal).
    """

    number: Ints
    log_chance: Floats
    head: Floats

    def take(self, chosen: Any) -> "Stories":
        return Stories(self.number[chosen], self.log_chance[chosen], self.head[chosen])


@dataclass(frozen=True)
class Readings:
    """R readings ordered by wall, and by story where walls have several; without `stories` each has one.

    `wall` [R] is the row in `Walls`; `step` [R] counts half steps, 0 to 10; `dose` [R] since the life of the surface
    began; `again` [R] whether chalk was taken off before; `reader` [R] a number from 0 (somebody unknown) up;
    `after_rain` [R].
    """

    wall: Ints
    step: Ints
    dose: Floats
    again: Bools
    reader: Ints
    after_rain: Bools
    reader_count: int
    stories: Stories | None = None

    def __post_init__(self) -> None:
        if len(self.wall) and (np.diff(self.wall) < 0).any():
            raise ValueError("Readings must be ordered by wall.")
        if len(self.step) and not (self.step.min() >= 0 and self.step.max() < STEPS):
            raise ValueError(f"A reading has 0 to {STEPS - 1} half steps.")

    def __len__(self) -> int:
        return len(self.wall)

    def blocks(self) -> Iterator[slice]:
        """Runs of readings that fit the cache; a wall is never cut in two."""
        ends = np.flatnonzero(np.diff(self.wall)) + 1
        cuts = [0]
        while cuts[-1] < len(self.wall):
            at = np.searchsorted(ends, cuts[-1] + READINGS_AT_ONCE)
            cuts.append(int(ends[at]) if at < len(ends) else len(self.wall))
        yield from (slice(a, b) for a, b in pairwise(cuts))

    def take(self, chosen: Any) -> "Readings":
        """Some of the readings: a slice or an array of rows, in the same order."""
        return Readings(
            self.wall[chosen],
            self.step[chosen],
            self.dose[chosen],
            self.again[chosen],
            self.reader[chosen],
            self.after_rain[chosen],
            self.reader_count,
            None if self.stories is None else self.stories.take(chosen),
        )


def parameter_count(walls: Walls, readings: Readings) -> int:
    """Length of a vector of parameters: those of NAMES, then the effects, then the readers' biases."""
    return FIXED + walls.effect_count + readings.reader_count


def prior_of(effect_count: int, reader_count: int) -> tuple[Floats, Floats]:
    """Means and standard deviations of all parameters before anything was read."""
    mean = np.zeros(FIXED + effect_count + reader_count)
    spread = np.concatenate(
        [[sd for _, sd in PRIOR.values()], np.full(effect_count, EFFECT_SPREAD), np.full(reader_count, READER_SPREAD)]
    )
    spread[FIXED + effect_count] = UNKNOWN_SPREAD
    mean[:FIXED] = [middle for middle, _ in PRIOR.values()]
    return mean, spread


def mean_rate(theta: Floats, walls: Walls) -> Floats:
    """Each wall's log rate without its own pace, an array [W]."""
    effects = theta[FIXED : FIXED + walls.effect_count]
    return np.asarray(
        theta[INTERCEPT] + theta[SLOPE] * (walls.darkness - MID_TONE) + effects[walls.effects].sum(axis=1)
    )


@dataclass(frozen=True)
class Block:
    """What one run of readings gives at a vector of parameters, at every node: arrays [readings of the run, NODES]."""

    level: Floats
    below_high: Floats
    above_low: Floats
    log_chance: Floats
    steps_below_high: Floats


def evaluate(theta: Floats, rate: Floats, readings: Readings) -> Block:
    """Levels and chances of a run of readings; `rate` [W] as `mean_rate` gives it."""
    noise, spread = np.exp(theta[LOG_NOISE]), np.exp(theta[LOG_SPREAD])
    log_dose = np.log(np.maximum(readings.dose, LEAST_DOSE))
    centre = rate[readings.wall] + np.exp(theta[LOG_SHAPE]) * log_dose + theta[AGAIN] * readings.again
    biases = theta[len(theta) - readings.reader_count :]
    bias = biases[readings.reader] + theta[RAIN] * readings.after_rain
    centre = np.minimum(centre, FARTHEST_LOG_DOSE)
    level = np.minimum(np.exp(centre)[:, None] * np.exp(np.minimum(spread * NODE, FARTHEST_LOG_DOSE)), MOST_LEVEL)
    high = (readings.step + 0.5) * STEP - bias
    distance = np.clip((level - high[:, None]) / noise, -FARTHEST_OFF, FARTHEST_OFF)
    e = np.exp(distance)
    below_high = 1.0 / (1.0 + e)
    e *= np.exp(min(STEP / noise, FARTHEST_OFF))
    above_low = e / (1.0 + e)
    below_high[readings.step == STEPS - 1] = 1.0
    above_low[readings.step == 0] = 1.0
    log_chance = np.log(below_high * above_low)
    log_chance += np.where(_is_inner(readings), np.log1p(-np.exp(-STEP / noise)), 0.0)[:, None]
    return Block(level, below_high, above_low, log_chance, distance)


def _is_inner(readings: Readings) -> Bools:
    return np.asarray((readings.step > 0) & (readings.step < STEPS - 1))


@dataclass(frozen=True)
class Runs:
    """Where in a run of readings each story begins (`starts`, S of them), where among the stories each wall begins
    (`firsts`, W of them), and whose wall each story is (`owner` [S], 0 to W - 1)."""

    starts: Ints
    firsts: Ints
    owner: Ints


def runs_of(readings: Readings) -> Runs:
    """Of a run that cuts no wall in two."""
    is_next = np.diff(readings.wall) != 0
    if readings.stories is not None:
        is_next |= np.diff(readings.stories.number) != 0
    starts = np.concatenate([[0], np.flatnonzero(is_next) + 1]).astype(np.int64)
    is_first = np.diff(readings.wall[starts], prepend=-1) != 0
    return Runs(starts, np.flatnonzero(is_first), np.cumsum(is_first) - 1)


def log_posterior(log_chance: Floats, readings: Readings, runs: Runs) -> Floats:
    """Log of prior weight times chance of all readings of a story, an array [S, NODES]."""
    found = np.add.reduceat(log_chance, runs.starts, axis=0) + LOG_WEIGHT
    if readings.stories is not None:
        found += readings.stories.log_chance[runs.starts][:, None]
    return np.asarray(found)


def shares_of(joint: Floats, runs: Runs) -> tuple[Floats, Floats]:
    """Posterior shares [S, NODES] that add up to 1 over the stories and nodes of a wall, and each wall's log chance."""
    most = np.maximum.reduceat(joint.max(axis=1), runs.firsts)
    share = np.exp(joint - most[runs.owner][:, None])
    total = np.add.reduceat(share.sum(axis=1), runs.firsts)
    share /= total[runs.owner][:, None]
    return share, most + np.log(total)


def value_and_gradient(theta: Floats, walls: Walls, readings: Readings, *, threads: int = 1) -> tuple[float, Floats]:
    """Log likelihood of all readings with every wall's own pace summed out, and its gradient."""
    rate, of_wall, blocks = mean_rate(theta, walls), np.zeros(len(walls)), list(readings.blocks())
    add = partial(_add_runs, theta, rate, readings, of_wall)
    if threads == 1:
        parts = [add(blocks)]
    else:
        with ThreadPoolExecutor(threads) as pool:  # NumPy lets go of the interpreter while it computes
            parts = list(pool.map(add, (blocks[i::threads] for i in range(threads))))
    value, gradient = sum(part[0] for part in parts), np.sum([part[1] for part in parts], axis=0)
    gradient[INTERCEPT] += of_wall.sum()
    gradient[SLOPE] += of_wall @ (walls.darkness - MID_TONE)
    for column in walls.effects.T:
        effects = np.bincount(column, weights=of_wall, minlength=walls.effect_count)
        gradient[FIXED : FIXED + walls.effect_count] += effects
    return value, gradient


def _add_runs(
    theta: Floats, rate: Floats, readings: Readings, of_wall: Floats, blocks: Sequence[slice]
) -> tuple[float, Floats]:
    """Some of the runs. Each writes to its own walls in `of_wall` only, so that threads need no lock."""
    gradient = np.zeros(len(theta))
    value = sum(_add_run(theta, rate, readings.take(chosen), gradient, of_wall) for chosen in blocks)
    return value, gradient


def _add_run(theta: Floats, rate: Floats, run: Readings, gradient: Floats, of_wall: Floats) -> float:
    """Log likelihood of a run; adds to `gradient` and, by wall, to the gradient of the log rate."""
    noise, spread = np.exp(theta[LOG_NOISE]), np.exp(theta[LOG_SPREAD])
    block, runs = evaluate(theta, rate, run), runs_of(run)
    share, log_chances = shares_of(log_posterior(block.log_chance, run, runs), runs)
    by_reading = np.repeat(share, np.diff(np.append(runs.starts, len(run))), axis=0)

    y, inner = STEP / noise, _is_inner(run) @ by_reading.sum(axis=1)
    by_noise = (block.below_high - 1.0) * -block.steps_below_high
    by_noise -= (1.0 - block.above_low) * (block.steps_below_high + y)
    of_noise = np.einsum("rk,rk->", by_noise, by_reading)
    gradient[LOG_NOISE] += of_noise - inner * y / np.expm1(y)

    slope = (block.below_high - block.above_low) * by_reading / noise
    of_bias = slope.sum(axis=1)
    slope *= np.where(block.level < MOST_LEVEL, block.level, 0.0)
    of_centre = slope.sum(axis=1)
    gradient[LOG_SPREAD] += spread * (slope @ NODE).sum()
    gradient[LOG_SHAPE] += np.exp(theta[LOG_SHAPE]) * (of_centre @ np.log(np.maximum(run.dose, LEAST_DOSE)))
    gradient[AGAIN] += of_centre @ run.again
    gradient[RAIN] += of_bias @ run.after_rain
    readers = np.bincount(run.reader, weights=of_bias, minlength=run.reader_count)
    gradient[len(theta) - run.reader_count :] += readers
    begins = runs.starts[runs.firsts]
    of_wall[run.wall[begins]] = np.add.reduceat(of_centre, begins)
    return float(log_chances.sum())
