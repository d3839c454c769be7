# ruff: noqa: T201  printing tables is what this program is for
"""How good the chalk forecast is, on simulated towns whose truth is known. Prints tables.

    python -m tests.benchmarks.chalking [--quick]

1. Intervals: how often the 80 % interval holds the day on which a wall truly passes the limit, by size of the company
   and readings per wall; and in towns that differ from what the model assumes (own paces with heavy tails, years of
   different sunshine, readers far apart, rain that nobody wrote down). The latter are shown and have no target.
2. Error: mean distance in days between forecast and truth with two readings per wall, beside "the same rate for every
   wall" (fitted to the same readings), the same with the sun's dose for its clock, and "12 months for everyone". Over
   walls that truly pass the limit after their last reading and within ten years of it.
3. Time: the fit of 200,000 walls with 600,000 readings, the forecasts of all of them, and one company's nightly update.

Seeded. Exits 1 where a target is missed: coverage 76 to 84 %; error at least 25 % under "same rate" and under "12
months"; the big fit within MOST_MINUTES; the nightly update within MOST_SECONDS.
"""

import argparse
import sys
import time
from dataclasses import dataclass

import numpy as np
from threadpoolctl import threadpool_limits

from jobs.chalking.domain.fitting import Fit, fit
from jobs.chalking.domain.forecast import crossings
from jobs.chalking.domain.growth import MID_TONE, Readings, Walls
from jobs.chalking.domain.seasons import LAST_DAY, day_of_dose, dose_between
from jobs.chalking.domain.sun import relative_doses

LIMIT = 2.0
LEAST_COVERAGE, MOST_COVERAGE = 0.76, 0.84
MOST_ERROR_SHARE = 0.75
MOST_MINUTES, MOST_SECONDS = 10, 10
TODAY = np.datetime64("2026-06-01", "D")
LATITUDES = (27.5, 32.5, 37.5, 42.5)
SHADES = ("open", "partly", "mostly")
TEN_YEARS = 3652
YEAR = 365
TOWNS, QUICK_TOWNS = 40, 2  # of 400 walls; more of smaller ones


@dataclass(frozen=True)
class Nature:
    """How a town's walls and readers truly are."""

    walls: int = 400
    readings: int = 2
    companies: int = 1
    spread: float = 0.45
    tails: float = 0.0  # degrees of freedom of t-distributed own paces; 0 is normal
    sunshine: float = 0.0  # standard deviation of a year's dose around the cloudless one
    reader_spread: float = 0.15
    is_rain_known: bool = True


@dataclass(frozen=True)
class Town:
    """What a company knows of its walls, and the days on which they truly pass the limit."""

    walls: Walls
    readings: Readings
    again: np.ndarray
    since: np.ndarray
    read_on: np.ndarray
    by_month: np.ndarray
    truth: np.ndarray

    @property
    def last_read_on(self) -> np.ndarray:
        return self.read_on.max(axis=1)


def town(nature: Nature, seed: int) -> Town:
    """A town drawn from `seed`: its own mean rate, shape and effects, houses of any age, removals, six readers."""
    rng = np.random.default_rng(seed)
    n, m = nature.walls, nature.readings
    by_month = relative_doses(
        LATITUDES[seed % len(LATITUDES)], rng.uniform(0, 360, n), rng.choice(SHADES, n, p=[0.6, 0.3, 0.1])
    )
    again = rng.random(n) < 0.35
    age = np.where(again, rng.uniform(1, 6, n), rng.uniform(3, 18, n)) + m
    since = TODAY - np.round(age * YEAR).astype(int)
    first = rng.uniform(0, 1, n)
    gaps = rng.uniform(0.7, 1.3, (n, m)).cumsum(axis=1)
    read_on = since[:, None] + np.round((age - m)[:, None] * YEAR * first[:, None] + gaps * YEAR).astype(int)
    effects = np.stack([np.sort(rng.integers(0, nature.companies, n)), nature.companies + rng.choice(3, n)], axis=1)
    darkness = rng.choice([0.05, 0.2, 0.38, 0.54, 0.7], n)
    walls = Walls(effects, darkness, nature.companies + 3)

    shape, noise = np.exp(rng.normal(0.05, 0.1)), 0.2
    pace = rng.standard_t(nature.tails, n) * 0.7 if nature.tails else rng.standard_normal(n)
    rate = rng.normal(np.log(0.3), 0.3) + 0.5 * (darkness - MID_TONE) + nature.spread * pace
    rate += rng.normal(0, 0.25, walls.effect_count)[effects].sum(axis=1) + rng.normal(0.1, 0.1) * again
    crossing = (LIMIT / np.exp(rate)) ** (1 / shape)

    wall = np.repeat(np.arange(n), m)
    days = read_on.ravel()
    dose = dose_between(by_month[wall], since[wall], days)
    true_dose = dose
    if nature.sunshine:  # the years of the past are what was felt; the crossing is moved by those to come
        true_dose = dose * np.repeat(np.exp(rng.normal(0, nature.sunshine, n)), m)
        crossing = crossing * np.exp(rng.normal(0, nature.sunshine, n))
    reader, bias = rng.integers(1, 7, n * m), rng.normal(0, nature.reader_spread, 7)
    rain = rng.random(n * m) < 0.25
    felt = np.exp(rate)[wall] * true_dose**shape + bias[reader] - 0.2 * rain
    felt += rng.logistic(0, noise, n * m)
    step = np.clip(np.round(2 * felt), 0, 10).astype(int)
    readings = Readings(wall, step, dose, again[wall], reader, rain & nature.is_rain_known, 7)
    return Town(walls, readings, again, since, read_on, by_month, day_of_dose(by_month, since, crossing))


def forecast_days(known: Town, found: Fit) -> np.ndarray:
    """Early, middle and late day of every wall, an array [W, 3]."""
    doses = crossings(known.walls, known.readings, known.again, found, limit=LIMIT).doses
    return np.stack([day_of_dose(known.by_month, known.since, column) for column in doses.T], axis=1)


def is_held(days: np.ndarray, known: Town) -> np.ndarray:
    """Whether each interval holds the truth; a day is held where the interval touches it."""
    return (days[:, 0] <= known.truth) & (known.truth <= days[:, 2])


QUICK_CASES = {
    "20 walls": Nature(walls=20),
    "100 walls": Nature(walls=100),
    "400 walls": Nature(),
}
CASES = {
    **QUICK_CASES,
    "400 walls, 1 reading": Nature(readings=1),
    "400 walls, 4 readings": Nature(readings=4),
    "1600 walls": Nature(walls=1600),
}
ODD_CASES = {
    "own paces with heavy tails": Nature(tails=3),
    "years of different sunshine": Nature(sunshine=0.08),
    "readers far apart": Nature(reader_spread=0.4),
    "rain not written down": Nature(is_rain_known=False),
}


def coverage_of(nature: Nature, rounds: int) -> tuple[float, float]:
    """Share of intervals that hold the truth, and the median of late to early dose."""
    held, ratios = [], []
    for seed in range(rounds):
        known = town(nature, seed)
        days = forecast_days(known, fit(known.walls, known.readings))
        held.append(is_held(days, known).mean())
        years = (days[:, [0, 2]] - known.since[:, None]).astype(float)
        ratios.append(np.median(years[:, 1] / np.maximum(years[:, 0], 1)))
    return float(np.mean(held)), float(np.median(ratios))


def intervals(cases: dict[str, Nature], rounds: int) -> bool:
    """Table 1; False if a town of the model's own kind is outside the target."""
    print(f"Share of 80 % intervals that hold the day of passing {LIMIT:g}, and late / early (median)")
    good = True
    for name, nature in cases.items():
        share, ratio = coverage_of(nature, max(2, rounds * 400 // nature.walls))
        is_good = LEAST_COVERAGE <= share <= MOST_COVERAGE
        good &= is_good
        print(f"  {name:32} {share:6.1%}   {ratio:4.2f}{'' if is_good else '   MISSED'}")
    return good


def odd_intervals(rounds: int) -> None:
    """The rest of table 1, which has no target."""
    for name, nature in ODD_CASES.items():
        share, ratio = coverage_of(nature, rounds)
        print(f"  {name:32} {share:6.1%}   {ratio:4.2f}   (not as the model assumes)")


def one_rate(clock: np.ndarray, known: Town) -> float:
    """Level per unit of `clock` [R] by least squares through nothing: the same rate for every wall."""
    level = known.readings.step / 2
    return float((clock @ level) / (clock @ clock))


def errors_of(nature: Nature, rounds: int) -> dict[str, float]:
    """Mean distance in days between each way of forecasting and the truth."""
    off: dict[str, list[float]] = {}
    for seed in range(rounds):
        known = town(nature, 1000 + seed)
        wall = known.readings.wall
        years = (known.read_on.ravel() - known.since[wall]).astype(float)
        per_day, per_dose = one_rate(years, known), one_rate(known.readings.dose, known)
        doses = np.full(nature.walls, LIMIT / per_dose)
        ways = {
            "this forecast": forecast_days(known, fit(known.walls, known.readings))[:, 1],
            "same rate, the sun's clock": day_of_dose(known.by_month, known.since, doses),
            "same rate for every wall": known.since + round(LIMIT / per_day),
            "12 months for everyone": known.last_read_on + YEAR,
        }
        chosen = (known.truth > known.last_read_on) & (known.truth <= known.last_read_on + TEN_YEARS)
        for name, days in ways.items():
            off.setdefault(name, []).append(np.abs((days - known.truth)[chosen].astype(float)).mean())
    return {name: float(np.mean(days)) for name, days in off.items()}


def errors(rounds: int, counts: tuple[int, ...]) -> bool:
    """Table 2; False if the forecast is not far enough under the two peers with two readings per wall."""
    good = True
    for count in counts:
        found = errors_of(Nature(readings=count), rounds)
        ours = found["this forecast"]
        print(f"Mean error of the day, {count} reading{'s' if count > 1 else ''} per wall (days; ours / theirs)")
        for name, days in found.items():
            is_peer = count == 2 and name in ("same rate for every wall", "12 months for everyone")
            is_missed = is_peer and ours / days > MOST_ERROR_SHARE
            good &= not is_missed
            print(f"  {name:32} {days:6.0f}   {ours / days:4.2f}{'   MISSED' if is_missed else ''}")
    return good


def times(walls: int) -> bool:
    """Table 3; False if the big fit takes longer than minutes, or the nightly update too long."""
    known = town(Nature(walls=walls, readings=3, companies=max(1, walls // 5000)), seed=1)
    began = time.perf_counter()
    found = fit(known.walls, known.readings, threads=2)
    fitted = time.perf_counter() - began
    held = is_held(forecast_days(known, found), known).mean()
    forecast = time.perf_counter() - began - fitted
    company = town(Nature(walls=min(walls, 5000), readings=3), seed=2)
    first = fit(company.walls, company.readings)
    began = time.perf_counter()
    again = fit(company.walls, company.readings, start=first.theta)
    forecast_days(company, again)
    nightly = time.perf_counter() - began
    part = town(Nature(walls=walls // 10, readings=3), seed=1)
    began = time.perf_counter()
    fit(part.walls, part.readings, threads=2)
    tenth = time.perf_counter() - began
    good = fitted < 60 * MOST_MINUTES and nightly < MOST_SECONDS
    print(f"Seconds on 2 threads (intervals of the big set hold {held:.1%})")
    print(f"  fit of {walls:,} walls, {3 * walls:,} readings: {fitted:8.1f}   {fitted / tenth:5.1f} x a tenth of them")
    print(f"  forecasts of all of them:             {forecast:8.1f}   {forecast / fitted:5.1f} x the fit")
    print(f"  nightly update, {len(company.walls):,} walls:         {nightly:8.1f}   {nightly / fitted:5.2f} x the fit")
    return bool(good)


def _tables() -> bool:
    good = intervals(CASES, TOWNS)
    odd_intervals(TOWNS)
    return errors(TOWNS, (1, 2, 4)) and good


def _quick_tables() -> bool:
    good = intervals(QUICK_CASES, QUICK_TOWNS)
    return errors(QUICK_TOWNS, (2,)) and good


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer towns and walls, and only what has a target")
    quick = parser.parse_args().quick
    assert LAST_DAY > TODAY
    with threadpool_limits(1):  # the matrices are small: threads would only wait for each other
        good = _quick_tables() if quick else _tables()
    good &= times(4_000 if quick else 200_000)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
