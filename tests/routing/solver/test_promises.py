"""Promises that cannot all be kept are named in words, as few of them as possible."""

import pytest

from routing.solver import RoundLimit, evaluate, parse_problem, solve
from tests.routing.solver.days import four_stop_day


def _reasons(**changes: object) -> tuple[str, ...]:
    data = four_stop_day()
    for job in data["jobs"]:
        job.update({"must_do": job["id"] in ("J1", "J2", "J3"), **changes.get(job["id"], {})})  # type: ignore[dict-item]
    data.update(changes.get("day", {}))  # type: ignore[call-overload]
    data["crews"][0].update(changes.get("crew", {}))  # type: ignore[call-overload]
    problem = parse_problem(data)
    plan = solve(problem, stop=RoundLimit(20))
    assert evaluate(problem, plan).faults == ()
    assert (plan.status == "infeasible") == bool(plan.reasons)
    return plan.reasons


def test_promises_that_can_be_kept_need_no_reason() -> None:
    """J3 loses money but is promised: the plan holds it and is optimal."""
    assert _reasons() == ()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"J3": {"needs": ["roof"]}},
            "J3 cannot be kept: no crew with roof may do it",
        ),
        (
            {"J3": {"windows": [[0, 30]]}},
            "J3 cannot be kept: J3 cannot begin after 00:30; crew A gets there at 00:40",
        ),
        (
            {"J1": {"windows": [[0, 60]]}, "J2": {"windows": [[10, 70]]}},
            "J1 and J2 cannot both be kept: both need crew A to begin between 00:00 and 01:10",
        ),
        (
            {"crew": {"shift": [0, 230], "break": {"minutes": 0, "window": [0, 230]}}},
            "J1, J2 and J3 cannot all be kept: all need crew A to begin between 00:00 and 08:00",
        ),
        (
            {"day": {"fixed": {"A": ["J4", "J1"]}}},
            "the fixed stops of crew A cannot be kept: J1 cannot begin after 02:00; crew A gets there at 03:00",
        ),
    ],
)
def test_the_smallest_conflict_is_said_in_words(changes: dict[str, object], words: str) -> None:
    """Alone, in a pair, all three, or a fixed beginning that cannot be driven."""
    assert _reasons(**changes) == (words,)
