# ruff: noqa: T201  printing tables is what this program is for
"""How good the solver of a day is, beside three open solvers in the same run. Prints a table.

    python -m tests.benchmarks.solver [--quick] [--only days|week|replan|toptw|vrptw|pcvrptw] [--seconds S]
                                      [--toptw FOLDER [--short-horizon]] [--pcvrptw FOLDER] [--limit N]

Days of the trade are invented with fixed seeds, every feature mixed (see `solver_days`). For each day:
value, bound, gap, seconds and peak memory of our solver, and the value of each peer, all timed and
valued by our own code and checked by the independent evaluator. Published instances run where the folder
with their files is given: team orienteering with time windows, from the same files Solomon's C101 and R101,
and prize-collecting routing with 1,000 customers.

Exits 1 where a target is missed: at least 99.9 % of the best value known in the run and of the best
peer on each day; proved on 80 % of the days and a gap of at most 0.5 % on all in the long run; a gap of
at most 1 % for a week; replans of the demo's day in 2 seconds.
"""

import argparse
import os
import resource
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from routing.solver import Params, Plan, Problem, TimeLimit, evaluate, parse_problem, solve, warm_up
from tests.benchmarks.solver_days import DayKind, realistic_day
from tests.benchmarks.solver_pcvrptw import run_pcvrptw
from tests.benchmarks.solver_replan import run_replans
from tests.benchmarks.solver_toptw import PROFIT_CENTS, published_values, toptw_problem
from tests.benchmarks.solver_vrptw import run_vrptw

QUICK = (DayKind("30 x 3", 30, 3, 1), DayKind("45 x 4", 45, 4, 2), DayKind("28 x 2 dense", 28, 2, 3, dense=True))
DAYS = (
    DayKind("30 x 3", 30, 3, 11),
    DayKind("60 x 5", 60, 5, 12),
    DayKind("60 x 5 no breaks", 60, 5, 13, breaks=False),
    DayKind("60 x 4 dense", 60, 4, 14, dense=True),
    DayKind("90 x 8", 90, 8, 15),
    DayKind("90 x 6 plain", 90, 6, 16, plain=True),
    DayKind("120 x 10", 120, 10, 17),
    DayKind("150 x 15", 150, 15, 18),
)
WEEK = (DayKind("week 150 x 4 x 5", 150, 4, 21, days=5),)
SHORT_HORIZON = ("c1", "r1", "rc1")


@dataclass(frozen=True, slots=True)
class Run:
    """One day: our plan after a short and a long time, and the peers' values in cents."""

    name: str
    short: Plan
    long: Plan
    first_seconds: float
    searched_seconds: float
    """Until the plan was proved, or time was over."""
    peers: dict[str, float]

    @property
    def best(self) -> float:
        return max(self.short.value_cents, self.long.value_cents, *self.peers.values())


def run_day(kind: DayKind, seconds: float, long_seconds: float) -> Run:
    from tests.benchmarks.solver_peers import PEERS, peer_plan

    problem = parse_problem(realistic_day(kind))
    short, first, proved = _timed(problem, seconds)
    long = short
    if long_seconds > seconds and short.status != "optimal":
        long, _, proved = _timed(problem, long_seconds)
    peers = {name: _peer_value(problem, peer_plan(problem, peer, seconds)) for name, peer in PEERS.items()}
    return Run(kind.name, short, long, first, proved, peers)


def _timed(problem: Problem, seconds: float) -> tuple[Plan, float, float]:
    """The plan, seconds to the first valid one, and to the proof (or to the end); prices come after that."""
    seen: list[tuple[float, bool]] = []
    started = time.monotonic()
    plan = solve(
        problem,
        stop=TimeLimit(seconds),
        on_progress=lambda plan: seen.append((time.monotonic() - started, plan.status == "optimal")),
    )
    proved = [at for at, is_proved in seen if is_proved]
    return _checked(problem, plan), seen[0][0], proved[0] if proved else plan.seconds


def _checked(problem: Problem, plan: Plan) -> Plan:
    judged = evaluate(problem, plan)
    assert judged.faults == (), judged.faults
    return plan


def _peer_value(problem: Problem, plan: Plan) -> float:
    """The peer's value; a plan that breaks promises does not count."""
    return _checked(problem, plan).value_cents if plan.keeps_promises else float("-inf")


def print_days(runs: Sequence[Run]) -> None:
    peers = list(runs[0].peers)
    print(f"| day | value $ | bound $ | gap % | status | s | first s | {' % | '.join(peers)} % |")
    print("|---" * (7 + len(peers)) + "|")
    for run in runs:
        plan = run.long
        shares = " | ".join(f"{100 * run.peers[name] / run.best:.2f}" for name in peers)
        print(
            f"| {run.name} | {plan.value_cents / 100:,.2f} | {plan.upper_bound_cents / 100:,.2f} | "
            f"{100 * plan.gap:.3f} | {plan.status} | {run.searched_seconds:.1f} | {run.first_seconds:.2f} | {shares} |"
        )


def day_misses(runs: Sequence[Run]) -> Iterator[str]:
    for run in runs:
        if run.short.value_cents < 0.999 * run.best:
            yield f"{run.name}: {run.short.value_cents:.0f} is less than 99.9 % of the best, {run.best:.0f}"
        if run.short.value_cents < max(run.peers.values()) - 1:
            yield f"{run.name}: a peer found {max(run.peers.values()):.0f}, we {run.short.value_cents:.0f}"
        if run.best > run.long.upper_bound_cents + 1:
            yield f"{run.name}: the bound {run.long.upper_bound_cents:.0f} is below a plan worth {run.best:.0f}"
        if run.long.gap > 0.005:
            yield f"{run.name}: the gap is {100 * run.long.gap:.2f} %"
    proved = sum(run.long.status == "optimal" for run in runs)
    if proved < 0.8 * len(runs):
        yield f"proved on {proved} of {len(runs)} days"


def run_toptw(folder: Path, seconds: float, limit: int | None, short_horizon: bool) -> list[str]:
    """Prints the table of the listed pairs (spread evenly where `limit` asks for fewer); the targets missed."""
    known = published_values(folder)
    if short_horizon:
        known = [value for value in known if value.proven and value.name.startswith(SHORT_HORIZON)]
    chosen = known if limit is None else known[:: -(-len(known) // limit)]
    print("\n| instance | routes | published | ours | bound | status | s |\n|---|---|---|---|---|---|---|")
    missed, short = [], []
    for value in chosen:
        problem = parse_problem(toptw_problem(folder, value.name, value.routes))
        plan = _checked(problem, solve(problem, stop=TimeLimit(seconds), params=Params(exact_share=0)))
        ours, bound = plan.value_cents / PROFIT_CENTS, plan.upper_bound_cents / PROFIT_CENTS
        print(
            f"| {value.name} | {value.routes} | {value.profit}{' proven' if value.proven else ''} | {ours:.0f} | "
            f"{bound:.2f} | {plan.status} | {plan.seconds:.1f} |",
            flush=True,
        )
        if bound < value.profit - 0.01:
            missed.append(f"{value.name} with {value.routes}: the bound {bound:.2f} is below the published profit")
        if value.proven and value.name.startswith(SHORT_HORIZON):
            short.append((max(0.0, 1 - ours / value.profit), plan.status == "optimal"))
    return [*missed, *_short_horizon_misses(short)]


def _short_horizon_misses(pairs: Sequence[tuple[float, bool]]) -> Iterator[str]:
    """Pairs of (shortfall, proved by our own bound)."""
    if not pairs:
        return
    reached = sum(short < 1e-9 for short, _ in pairs) / len(pairs)
    proved = sum(proved for _, proved in pairs) / len(pairs)
    mean = sum(short for short, _ in pairs) / len(pairs)
    print(f"\nshort horizon: {len(pairs)} pairs, {reached:.0%} reached, {proved:.0%} proved, shortfall {mean:.3%}")
    if reached < 0.9:
        yield f"short horizon: the proven value on {reached:.0%} of the pairs"
    if proved < 0.6:
        yield f"short horizon: proved on {proved:.0%} of the pairs"
    if mean > 0.001:
        yield f"short horizon: {100 * mean:.2f} % short on average"


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", choices=["days", "week", "replan", "toptw", "vrptw", "pcvrptw"])
    parser.add_argument("--seconds", type=float)
    parser.add_argument("--toptw", type=Path, default=os.environ.get("WALLDAY_TOPTW"))
    parser.add_argument("--short-horizon", action="store_true", help="only the pairs that the targets are about")
    parser.add_argument("--pcvrptw", type=Path, default=os.environ.get("WALLDAY_PCVRPTW"))
    parser.add_argument("--limit", type=int, help="so many of the published instances only")
    options = parser.parse_args(arguments)
    warm_up()
    misses: list[str] = []
    if options.only in (None, "days"):
        seconds = options.seconds or (3.0 if options.quick else 10.0)
        long_seconds = seconds if options.quick else 3 * seconds
        runs = [run_day(kind, seconds, long_seconds) for kind in (QUICK if options.quick else DAYS)]
        print_days(runs)
        misses += day_misses(runs)
    if options.only in (None, "week") and not options.quick:
        runs = [run_day(kind, options.seconds or 60.0, 0.0) for kind in WEEK]
        print_days(runs)
        misses += [f"{run.name}: the gap is {100 * run.long.gap:.2f} %" for run in runs if run.long.gap > 0.01]
    if options.only in (None, "replan") and not options.quick:
        misses += run_replans()
    if options.only in (None, "toptw") and not options.quick:
        if options.toptw:
            misses += run_toptw(Path(options.toptw), options.seconds or 60.0, options.limit, options.short_horizon)
        else:
            print("\nNo folder with the team orienteering files was given (--toptw): not run.")
    if options.only in (None, "vrptw") and options.toptw and not options.quick:
        misses += run_vrptw(Path(options.toptw), options.seconds or 60.0)
    if options.only in (None, "pcvrptw") and not options.quick:
        if options.pcvrptw:
            misses += run_pcvrptw(Path(options.pcvrptw), options.seconds or 120.0, options.limit)
        else:
            print("\nNo folder with the prize-collecting files was given (--pcvrptw): not run.")
    print(f"\npeak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB, peers included")
    print("\n".join(f"missed: {miss}" for miss in misses) or "all targets met")
    return 1 if misses else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
