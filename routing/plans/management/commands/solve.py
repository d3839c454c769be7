"""`manage.py solve`: a day-problem/1 file in, a day-plan/1 out."""

import json
import os
import sys
import tempfile
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from routing.solver import (
    OBJECTIVES,
    BestRatio,
    MalformedProblem,
    Plan,
    Problem,
    SolverFailed,
    load_json,
    parse_problem,
    plan_to_json,
    solve_in_child,
)
from routing.solver.reader import MAX_COUNTED

MALFORMED = 2


class Command(BaseCommand):
    """Exit 0: a plan was written; on standard error its worth and, where promises are not kept, why. Exit 2: the file
    is malformed, every fault is named, nothing written."""

    help = "Solve one day problem from a JSON file."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("problem", type=Path, help="a day-problem/1 file")
        parser.add_argument("--seconds", type=_seconds, default=10.0, help="time limit (default 10)")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument(
            "--objective",
            choices=OBJECTIVES,
            default="value",
            help="value: the most for the whole day (default); ratio: the most profit per paid crew-hour",
        )
        parser.add_argument("--out", type=Path, help="write the day-plan/1 here instead of standard output")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            problem = _read(options["problem"])
        except MalformedProblem as malformed:
            for fault in malformed.faults:
                self.stderr.write(str(fault))
            if malformed.more:
                self.stderr.write(_more_words(malformed.more))
            sys.exit(MALFORMED)
        plan = _solve(problem, options)
        text = json.dumps(plan_to_json(plan), indent=1) + "\n"
        if options["out"] is None:
            self.stdout.write(text, ending="")
        else:
            _write(options["out"], text)
        self.stderr.write(_summary(plan))


def _more_words(count: int) -> str:
    at_least = "at least " if count >= MAX_COUNTED else ""
    return f"... and {at_least}{count:,} more"


def _seconds(text: str) -> float:
    seconds = float(text)
    if not 0 < seconds <= 86_400:
        raise ValueError
    return seconds


def _read(path: Path) -> Problem:
    try:
        content = path.read_bytes()
    except OSError as error:
        raise CommandError(f"{path}: {error.strerror}") from None
    return parse_problem(load_json(content))


def _solve(problem: Problem, options: dict[str, Any]) -> Plan:
    try:
        return solve_in_child(problem, seconds=options["seconds"], seed=options["seed"], objective=options["objective"])
    except SolverFailed as failed:
        raise CommandError(f"the solver gave no plan: {failed}") from None


def _write(path: Path, text: str) -> None:
    """All or nothing: a reader never sees half a plan."""
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        os.replace(name, path)
    except OSError as error:
        raise CommandError(f"{path}: {error.strerror}") from None


def _summary(plan: Plan) -> str:
    placed = sum(len(route.stops) for route in plan.routes)
    value, bound = plan.value_cents / 100, plan.upper_bound_cents / 100
    text = (
        f"{plan.status}: worth ${value:,.2f}, no plan is worth more than ${bound:,.2f}; "
        f"{placed} jobs on {len(plan.routes)} routes, {len(plan.left_out)} left out"
    )
    return "\n".join([text, *plan.reasons, *([_ratio_summary(plan.best_ratio)] if plan.best_ratio else [])])


def _ratio_summary(found: BestRatio) -> str:
    bound = found.upper_bound_cents_per_crew_hour
    most = "" if bound is None else f", no plan earns more than ${bound / 100:,.2f}"
    return (
        f"profit per paid crew-hour ${found.cents_per_crew_hour / 100:,.2f}{most}; the plan of most value is worth "
        f"${found.most_value_cents / 100:,.2f} at ${found.most_value_cents_per_crew_hour / 100:,.2f} per paid crew-hour"
    )
