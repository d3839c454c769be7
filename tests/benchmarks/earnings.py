# ruff: noqa: T201  printing tables is what this program is for
"""How honest the earnings report is, on simulated companies whose truth is known. Prints tables.

    python -m tests.benchmarks.earnings [--quick]

1. Coverage: how often the 90 % interval holds the true earned per crew-hour, for few and many jobs, from tame to
   wild spread, beside the usual large-sample interval.
2. False alarms: how often a report over ten kinds that all earn exactly the target says *below* or *above* of any.
3. Power: how often a kind that truly earns less than the target is found among ten, by shortfall and jobs.
4. Bootstrap: how far the ends of the interval lie from those of 4,000 resampled histories, in parts of its width.
5. The page over 200,000 job lines: its queries, and its time over that of its one SQL aggregate, for each breakdown.

Seeded: the same numbers on every machine. Exits 1 where a target is missed: coverage of 88 to 92.5 %, alarms at
most 5 % plus two standard errors, at most 10 queries and 1.5 times the aggregate's time.
The page is measured on the database that WALLDAY_DATABASE_URL names, else on SQLite, in a database of its own.
"""

import argparse
import sys
from collections.abc import Iterator
from functools import cache
from math import sqrt

import numpy as np

from pricing.earnings.domain.ratio import Moments, ratio_estimate, t_quantile
from pricing.earnings.domain.verdict import FAMILY_ERROR, MINIMUM_JOBS, Verdict, verdicts
from tests.benchmarks.earnings_page import page_over_many_lines

SPREADS = {"tame": 0.20, "usual": 0.35, "wild": 0.60}  # sigma of log minutes around the estimate
KINDS = 10


def jobs(rng: np.random.Generator, spread: float, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Crew-minutes and cents of n jobs: skewed areas, minutes off the estimate, a minimum charge, driving."""
    area = rng.lognormal(np.log(2000), 0.35, n)
    minutes = 20 + area / 25 * rng.lognormal(0, spread, n) + rng.lognormal(np.log(18), 0.6, n)
    cents = np.maximum(25_000, area * 26 * rng.lognormal(0, 0.12, n))
    return minutes, cents


@cache
def true_ratio(spread: float) -> float:
    """Cents a crew-minute in the long run, from four million jobs."""
    minutes, cents = jobs(np.random.default_rng(7), spread, 4_000_000)
    return float(cents.sum() / minutes.sum())


def histories(spread: float, n: int, rounds: int, seed: int) -> Iterator[Moments]:
    """Sums of many independent histories of n jobs."""
    minutes, cents = (part.reshape(rounds, n) for part in jobs(np.random.default_rng(seed), spread, rounds * n))
    sums = zip(
        minutes.sum(1), cents.sum(1), (minutes**2).sum(1), (minutes * cents).sum(1), (cents**2).sum(1), strict=True
    )
    for x, y, xx, xy, yy in sums:
        yield Moments(n, float(x), float(y), float(xx), float(xy), float(yy))


def usual_interval_holds(moments: Moments, truth: float) -> bool:
    """The textbook interval r -+ t s / (sqrt(n) mean x), for comparison."""
    n, ratio = moments.n, moments.sum_y / moments.sum_x
    squares = moments.sum_yy - 2 * ratio * moments.sum_xy + ratio**2 * moments.sum_xx
    half = t_quantile(0.95, n - 1) * sqrt(max(0.0, squares) / (n - 1) / n) / (moments.sum_x / n)
    return abs(truth - ratio) <= half


def coverage(rounds: int) -> bool:
    """Table 1; False if any cell for the product's interval is outside 88 to 92.5 %."""
    print("Share of 90 % intervals that hold the truth, in percent (ours / usual; unbounded ones of ours)")
    good = True
    for name, spread in SPREADS.items():
        truth = true_ratio(spread)
        for n in (5, MINIMUM_JOBS, 12, 20, 40, 100):
            held = usual = unbounded = 0
            for moments in histories(spread, n, rounds, seed=n):
                estimate = ratio_estimate(moments)
                assert estimate is not None
                if estimate.low is None or estimate.high is None:
                    unbounded += 1
                    held += 1
                else:
                    held += estimate.low <= truth <= estimate.high
                usual += usual_interval_holds(moments, truth)
            percent = 100 * held / rounds
            good &= 88.0 <= percent <= 92.5
            print(
                f"  {name:6} n {n:4}  {percent:5.1f} / {100 * usual / rounds:5.1f}   ({100 * unbounded / rounds:.1f})"
            )
    return good


def false_alarms(rounds: int) -> bool:
    """Table 2; False if reports alarm more often than stated."""
    print(f"Reports over {KINDS} kinds at the target with any verdict, in percent (stated: {FAMILY_ERROR:.0%})")
    good = True
    allowed = FAMILY_ERROR + 2 * sqrt(FAMILY_ERROR * (1 - FAMILY_ERROR) / rounds)
    for name, spread in SPREADS.items():
        truth = true_ratio(spread)
        for n in (MINIMUM_JOBS, 25, 100):
            company = histories(spread, n, rounds * KINDS, seed=100 + n)
            alarms = 0
            for _ in range(rounds):
                found = verdicts([next(company) for _ in range(KINDS)], truth)
                alarms += any(verdict != Verdict.NOT_ENOUGH for verdict in found)
            good &= alarms / rounds <= allowed
            print(f"  {name:6} n {n:4}  {100 * alarms / rounds:5.1f}")
    return good


def power(rounds: int) -> None:
    """Table 3: the share of reports that find the one short kind among ten, usual spread."""
    print("One kind below the target among ten, found in percent of reports (usual spread)")
    truth = true_ratio(SPREADS["usual"])
    for shortfall in (0.05, 0.10, 0.20, 0.30):
        cells = []
        for n in (MINIMUM_JOBS, 25, 100, 200):
            company = histories(SPREADS["usual"], n, rounds * KINDS, seed=200 + n)
            found = 0
            for _ in range(rounds):
                kinds = [next(company) for _ in range(KINDS)]
                kinds[0] = cheaper(kinds[0], 1 - shortfall)
                found += verdicts(kinds, truth)[0] == Verdict.BELOW
            cells.append(f"n {n:4} {100 * found / rounds:5.1f}")
        print(f"  {shortfall:4.0%} below   " + "   ".join(cells))


def cheaper(moments: Moments, factor: float) -> Moments:
    """The same jobs at prices times ``factor``."""
    return Moments(
        moments.n,
        moments.sum_x,
        moments.sum_y * factor,
        moments.sum_xx,
        moments.sum_xy * factor,
        moments.sum_yy * factor**2,
    )


def bootstrap(resamples: int) -> None:
    """Table 4: Fieller's interval beside percentiles of resampled jobs."""
    print("Ends of the 90 % interval: ours less the bootstrap's, in percent of the width (low, high)")
    rng = np.random.default_rng(3)
    for name, spread in SPREADS.items():
        cells = []
        for n in (20, 100):
            minutes, cents = jobs(rng, spread, n)
            ours = ratio_estimate(Moments.of(list(zip(minutes.tolist(), cents.tolist(), strict=True))))
            chosen = rng.integers(0, n, (resamples, n))
            ends = np.quantile(cents[chosen].sum(1) / minutes[chosen].sum(1), (0.05, 0.95))
            assert ours is not None
            assert ours.low is not None
            assert ours.high is not None
            width = ours.high - ours.low
            off = (100 * (ours.low - ends[0]) / width, 100 * (ours.high - ends[1]) / width)
            cells.append(f"n {n:4} {off[0]:+5.1f} {off[1]:+5.1f}")
        print(f"  {name:6} " + "   ".join(cells))


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a tenth of the histories")
    quick = parser.parse_args().quick
    rounds = 2_000 if quick else 20_000
    good = coverage(rounds)
    good &= false_alarms(rounds // 4)
    power(rounds // 10)
    bootstrap(4_000)
    good &= page_over_many_lines(60_000 if quick else 200_000)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
