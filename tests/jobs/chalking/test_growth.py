"""The growth model: chances against plain integrals, gradients against differences, what few and many readings tell."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import expit

from jobs.chalking.domain.fitting import PART, Objective, covariance_of, every_kth_wall, fit
from jobs.chalking.domain.forecast import crossings, level_at, weighted_quantiles
from jobs.chalking.domain.growth import (
    AGAIN,
    FIXED,
    INTERCEPT,
    LOG_NOISE,
    LOG_SHAPE,
    LOG_SPREAD,
    MID_TONE,
    RAIN,
    SLOPE,
    Readings,
    Stories,
    Walls,
    prior_of,
    value_and_gradient,
)

NOBODY = np.zeros(0, dtype=int)


def some_walls(count: int, seed: int = 0) -> Walls:
    rng = np.random.default_rng(seed)
    effects = np.stack([np.zeros(count, int), 1 + rng.integers(0, 2, count)], axis=1)
    return Walls(effects, rng.uniform(0, 1, count), 3)


def some_readings(walls: Walls, each: int, seed: int = 0) -> Readings:
    rng = np.random.default_rng(seed)
    wall = np.repeat(np.arange(len(walls)), each)
    n = len(wall)
    around = np.repeat(rng.integers(0, 11, len(walls)), each)
    step = np.clip(around + rng.integers(-1, 2, n), 0, 10)
    return Readings(
        wall, step, rng.uniform(2, 5, n), rng.random(n) < 0.4, rng.integers(0, 2, n),
        rng.random(n) < 0.3, 2,
    )  # fmt: skip


def true_readings(rates: np.ndarray, doses: np.ndarray, *, noise: float = 0.15, seed: int = 1) -> Readings:
    """What one reader writes down of walls that grow as exp(rate) x dose; doses [wall, reading]."""
    rng = np.random.default_rng(seed)
    wall = np.repeat(np.arange(len(rates)), doses.shape[1])
    level = np.exp(rates)[wall] * doses.ravel()
    step = np.clip(np.round(2 * (level + rng.logistic(0, noise, len(wall)))), 0, 10).astype(int)
    nothing = np.zeros(len(wall), bool)
    return Readings(wall, step, doses.ravel(), nothing, np.zeros(len(wall), int), nothing, 1)


def chance_by_hand(theta: np.ndarray, walls: Walls, readings: Readings) -> float:
    """The chance of one wall's readings by an ordinary integral over its own pace."""
    effects, biases = theta[FIXED : FIXED + walls.effect_count], theta[FIXED + walls.effect_count :]
    noise, spread, shape = np.exp(theta[[LOG_NOISE, LOG_SPREAD, LOG_SHAPE]])
    rate = theta[INTERCEPT] + theta[SLOPE] * (walls.darkness[0] - MID_TONE) + effects[walls.effects[0]].sum()

    def at(pace: float) -> float:
        level = np.exp(rate + pace + theta[AGAIN] * readings.again) * readings.dose**shape
        level = np.minimum(level, 12) + biases[readings.reader] + theta[RAIN] * readings.after_rain
        high = np.where(readings.step == 10, 1.0, expit((readings.step / 2 + 0.25 - level) / noise))
        low = np.where(readings.step == 0, 0.0, expit((readings.step / 2 - 0.25 - level) / noise))
        return float(np.prod(high - low) * np.exp(-0.5 * (pace / spread) ** 2) / spread / np.sqrt(2 * np.pi))

    return quad(at, -4.5 * spread, 4.5 * spread, limit=400, epsabs=1e-9, epsrel=1e-6)[0]


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 4))
def test_the_chance_of_a_walls_readings_is_the_plain_integral(seed: int, each: int) -> None:
    """Intervals, ends of the scale, bias, rain and the second life: against `scipy.integrate.quad`."""
    rng = np.random.default_rng(seed)
    walls = some_walls(1, seed)
    readings = some_readings(walls, each, seed)
    mean, spread = prior_of(3, 2)
    theta = mean + 0.5 * spread * rng.standard_normal(len(mean))
    value, _ = value_and_gradient(theta, walls, readings)
    assume(value > -9)  # less likely ones lie beyond the paces that are looked at
    assert value == pytest.approx(
        np.log(chance_by_hand(theta, walls, readings)), abs=3e-2
    )  # nodes are coarse for small noise


def with_stories(readings: Readings, shares: tuple[float, ...], chances: tuple[float, ...]) -> Readings:
    """Each wall's readings once for each story: `shares` of the dose, with their chances before anything was read."""
    rows = np.concatenate([
        np.flatnonzero(readings.wall == wall) for wall in np.unique(readings.wall) for _story in shares
    ]).astype(int)  # fmt: skip
    told = readings.take(rows)
    of_wall = [np.count_nonzero(readings.wall == wall) for wall in np.unique(readings.wall)]
    number = np.concatenate([np.repeat(np.arange(len(shares)), count) for count in of_wall])
    share, chance = np.array(shares)[number], np.array(chances)[number]
    stories = Stories(number, np.log(chance), (1 - share) * told.dose)
    return replace(told, dose=told.dose * share, stories=stories)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 3))
def test_a_wall_of_unsure_age_has_the_chance_of_all_its_stories(seed: int, each: int) -> None:
    """The sum over stories of their chance times the plain integral."""
    walls = some_walls(1, seed)
    readings = some_readings(walls, each, seed)
    theta, _ = prior_of(3, 2)
    told = with_stories(readings, (1.0, 0.4), (0.7, 0.3))
    parts = [
        chance * chance_by_hand(theta, walls, replace(readings, dose=share * readings.dose))
        for share, chance in ((1.0, 0.7), (0.4, 0.3))
    ]
    assume(sum(parts) > 1e-4)
    assert value_and_gradient(theta, walls, told)[0] == pytest.approx(np.log(sum(parts)), abs=3e-2)


def test_one_sure_story_is_no_story() -> None:
    """Forecasts are the same to the last digit but those of rounding."""
    walls = some_walls(40)
    readings = some_readings(walls, 2)
    told = with_stories(readings, (1.0,), (1.0,))
    found = fit(walls, readings)
    plain, sure = (crossings(walls, each, np.zeros(40, bool), found, limit=2.0) for each in (readings, told))
    assert sure.doses == pytest.approx(plain.doses, rel=1e-9)
    assert (sure.stories == 0).all()


def test_readings_tell_a_younger_siding_from_an_old_one() -> None:
    """From half to one and a half in three years: it did not take forty years to get there."""
    walls = Walls(np.zeros((1, 1), int), np.full(1, MID_TONE), 1)
    nothing = np.zeros(4, bool)
    dose = np.array([40.0, 41.0, 42.0, 43.0])
    readings = Readings(np.zeros(4, int), np.array([1, 2, 2, 3]), dose, nothing, np.zeros(4, int), nothing, 1)
    told = replace(
        readings,
        **{name: np.tile(getattr(readings, name), 2) for name in ("wall", "step", "again", "reader", "after_rain")},
        dose=np.concatenate([dose, dose - 38]),
        stories=Stories(np.repeat([0, 1], 4), np.log(np.repeat(0.5, 8)), np.repeat([0.0, 38.0], 4)),
    )
    nobody = readings.take(np.zeros(0, int))
    prior = fit(walls, nobody)
    unsure = crossings(walls, told, np.zeros(1, bool), prior, limit=2.0)
    assert unsure.stories.tolist() == [1]
    assert 4.5 < unsure.doses[0, 1] < 9


@pytest.mark.parametrize("are_sure", [True, False])
@pytest.mark.parametrize("threads", [1, 2])
def test_the_gradient_is_the_slope_of_the_value(threads: int, are_sure: bool) -> None:
    """Each parameter against a central difference, over several blocks, in one thread and in two; also with stories."""
    walls = some_walls(3000 if are_sure else 1600)
    readings = some_readings(walls, 3)
    if not are_sure:
        readings = with_stories(readings, (1.0, 0.5), (0.6, 0.4))
    mean, spread = prior_of(3, 2)
    theta = mean + 0.3 * spread * np.random.default_rng(2).standard_normal(len(mean))
    value, gradient = value_and_gradient(theta, walls, readings, threads=threads)
    assert value < 0
    for i in range(len(theta)):
        step = np.zeros(len(theta))
        step[i] = 1e-5
        ends = [value_and_gradient(theta + way * step, walls, readings)[0] for way in (1, -1)]
        assert gradient[i] == pytest.approx((ends[0] - ends[1]) / 2e-5, rel=1e-3, abs=0.05), i


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 10_000))
def test_far_from_the_prior_the_value_stays_a_number(seed: int) -> None:
    """A search that strays, to next to no noise say, gets a very small chance, never infinity or none at all."""
    walls = some_walls(20, seed)
    mean, spread = prior_of(3, 2)
    theta = mean + 12 * spread * np.random.default_rng(seed).choice([-1.0, 0.0, 1.0], len(mean))
    value, gradient = value_and_gradient(theta, walls, some_readings(walls, 3, seed))
    assert np.isfinite(value)
    assert np.isfinite(gradient).all()


def test_readings_never_make_a_parameter_much_less_sure_than_its_prior() -> None:
    """In a hollow of the posterior the curvature says nothing; believed, it would make a spread of thousands."""
    hollow = np.diag([-0.2, 1e-9, 4.0])
    assert np.sqrt(np.diag(covariance_of(hollow, np.array([1.0, 10.0, 1.0])))) == pytest.approx([2.0, 20.0, 0.5])


def test_blocks_never_cut_a_wall_in_two() -> None:
    """Every reading is in one block, and no wall is in two."""
    walls = some_walls(2500)
    readings = some_readings(walls, 5)
    blocks = list(readings.blocks())
    assert len(blocks) > 2
    assert [b.start for b in blocks[1:]] == [b.stop for b in blocks[:-1]]
    assert (blocks[0].start, blocks[-1].stop) == (0, len(readings))
    assert all(readings.wall[b.start] != readings.wall[b.start - 1] for b in blocks[1:])


def test_readings_in_disorder_or_off_the_scale_are_refused() -> None:
    """Both would be summed into the wrong wall or category without a word."""
    nothing = np.zeros(2, bool)
    with pytest.raises(ValueError, match="ordered"):
        Readings(np.array([1, 0]), np.array([1, 1]), np.ones(2), nothing, np.zeros(2, int), nothing, 1)
    with pytest.raises(ValueError, match="half steps"):
        Readings(np.array([0, 1]), np.array([1, 11]), np.ones(2), nothing, np.zeros(2, int), nothing, 1)


def test_without_readings_the_fit_is_the_prior() -> None:
    """Nothing read, nothing learnt: and the interval of a wall spans more than a factor of eight."""
    walls = some_walls(2)
    none = Readings(NOBODY, NOBODY, np.zeros(0), np.zeros(0, bool), NOBODY, np.zeros(0, bool), 1)
    found = fit(walls, none)
    mean, spread = prior_of(3, 1)
    assert found.theta == pytest.approx(mean)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(spread)
    doses = crossings(walls, none, np.zeros(2, bool), found, limit=2.0).doses
    assert (doses[:, 2] / doses[:, 0] > 8).all()


def test_a_town_is_learnt_and_its_walls_are_told_apart() -> None:
    """400 walls: mean rate, spread and noise come back; a fast and a slow wall are forecast apart, both rightly."""
    rng = np.random.default_rng(3)
    walls = Walls(np.zeros((400, 1), int), np.full(400, MID_TONE), 1)
    rates = rng.normal(np.log(0.5), 0.4, 400)
    rates[:2] = np.log([0.25, 1.0])
    doses = rng.uniform(2, 4, (400, 1)) + np.array([0.0, 1.0, 2.0])
    readings = true_readings(rates, doses)
    found = fit(walls, readings)
    assert found.theta[INTERCEPT] + found.theta[FIXED] == pytest.approx(np.log(0.5), abs=0.15)
    assert np.exp(found.theta[LOG_SPREAD]) == pytest.approx(0.4, abs=0.05)
    assert np.exp(found.theta[LOG_NOISE]) == pytest.approx(0.15, abs=0.03)
    days = crossings(walls, readings, np.zeros(400, bool), found, limit=2.0).doses
    truth = 2 / np.exp(rates)
    assert days[0, 0] < truth[0] < days[0, 2]
    assert days[1, 2] < days[0, 0]
    held = (days[:, 0] <= truth) & (truth <= days[:, 2])
    assert 0.72 < held.mean() < 0.88


def test_more_readings_never_widen_and_none_stays_wide() -> None:
    """On average over a town, intervals narrow with each further reading; a wall that was never read stays widest."""
    rng = np.random.default_rng(4)
    walls = Walls(np.zeros((200, 1), int), np.full(200, MID_TONE), 1)
    rates = rng.normal(np.log(0.5), 0.4, 200)
    doses = rng.uniform(1.5, 3, (200, 1)) + np.array([0.0, 1.0, 2.0])
    widths = []
    for count in (1, 2, 3):
        readings = true_readings(rates[:190], doses[:190, :count])
        found = fit(walls, readings)
        days = crossings(walls, readings, np.zeros(200, bool), found, limit=2.0).doses
        width = np.log(days[:, 2] / days[:, 0])
        widths.append(width[:190].mean())
        assert width[190:].min() > width[:190].mean()
    assert widths[0] > widths[1] > widths[2]


def test_zero_and_five_are_open_ended() -> None:
    """A five says `at least`: twenty fives push the crossing down without a floor, twenty noughts push it up."""
    walls = Walls(np.zeros((3, 1), int), np.full(3, MID_TONE), 1)
    nothing = np.zeros(60, bool)
    step = np.repeat([0, 4, 10], 20)
    readings = Readings(np.repeat([0, 1, 2], 20), step, np.full(60, 4.0), nothing, np.zeros(60, int), nothing, 1)
    doses = crossings(walls, readings, np.zeros(3, bool), fit(walls, readings), limit=2.0).doses[:, 1]
    assert doses[0] > 2 * doses[1] > 4 * doses[2]
    assert doses[1] == pytest.approx(4.0, rel=0.25)


def test_a_big_set_is_fitted_in_two_strokes_to_the_same_end() -> None:
    """More readings than PART: a part first, then all; the end is as flat as a plain fit's."""
    rng = np.random.default_rng(5)
    count = PART // 3 + 1500
    walls = Walls(np.zeros((count, 1), int), rng.uniform(0, 1, count), 1)
    rates = rng.normal(np.log(0.4), 0.4, count) + 0.5 * (walls.darkness - MID_TONE)
    readings = true_readings(rates, rng.uniform(1, 5, (count, 1)) + np.arange(3.0))
    assert len(every_kth_wall(readings, 2)) == pytest.approx(len(readings) / 2, abs=6)
    found = fit(walls, readings)
    _, slope = Objective(walls, readings)(found.theta)
    assert float(slope @ found.covariance @ slope) < 0.2
    assert found.theta[SLOPE] == pytest.approx(0.5, abs=0.06)


def test_the_same_readings_give_the_same_forecast() -> None:
    """No clock and no free randomness: twice the same, to the last digit."""
    walls = some_walls(30)
    readings = some_readings(walls, 2)
    days = [crossings(walls, readings, np.zeros(30, bool), fit(walls, readings), limit=2.0).doses for _ in range(2)]
    assert (days[0] == days[1]).all()


def test_an_earlier_fit_is_a_start_only_where_it_fits() -> None:
    """A start of another length is a mistake of the caller; one of the right length leads to the same end sooner."""
    walls = some_walls(300)
    readings = some_readings(walls, 3)
    first = fit(walls, readings)
    again = fit(walls, readings, start=first.theta)
    assert again.theta == pytest.approx(first.theta, abs=0.05)
    with pytest.raises(ValueError, match="parameters"):
        fit(walls, readings, start=first.theta[:-1])


def test_the_level_passes_the_limit_at_the_crossing_dose() -> None:
    """And is nothing at no dose."""
    dose = np.array([0.0, 3.0, 6.0])
    assert level_at(dose, np.full(3, 3.0), limit=2.0, shape=1.0) == pytest.approx([0.0, 2.0, 4.0])


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-5, 5), min_size=3, max_size=40, unique=True))
def test_even_weights_give_the_plain_quantiles(values: list[float]) -> None:
    """In order, inside the range, and the middle one is the median."""
    found = weighted_quantiles(np.array([values]), np.ones((1, len(values))))[0]
    assert min(values) <= found[0] <= found[1] <= found[2] <= max(values)
    assert found[1] == pytest.approx(np.median(values), abs=1e-9)
