"""Promises that cannot all be kept are named in words, as few of them as possible, and only where that is proved."""

import itertools
from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from routing.solver import Params, Plan, Problem, RoundLimit, TimeLimit, evaluate, parse_problem, promises, solve
from routing.solver.detours import Reach, leaving_out_is_safe
from routing.solver.model import build_model
from routing.solver.placing import Tries, place_all
from routing.solver.stopping import Stop, Watch
from tests.routing.solver.brute_force import best_value, route_value
from tests.routing.solver.days import four_stop_day
from tests.routing.solver.strategies import promising_days


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


@pytest.mark.parametrize("rounds", [0, 20])
def test_without_tries_and_time_nothing_is_said_to_be_impossible(monkeypatch: pytest.MonkeyPatch, rounds: int) -> None:
    """J1 and J2 can be kept only in the order that insertion does not find: not decided, then found."""
    monkeypatch.setattr(promises, "MOST_TRIES", 0)
    problem = parse_problem(hard_to_insert())
    assert best_value(problem) is not None
    plan = solve(problem, stop=RoundLimit(rounds))
    assert evaluate(problem, plan).faults == ()
    if rounds:
        assert plan.status == "optimal"
        return
    assert plan.status == "undecided"
    words = "not decided in time whether all promises can be kept: no plan was found that keeps J1 too"
    assert plan.reasons == (words,)


def test_tries_find_what_insertion_does_not() -> None:
    """Without any time: two promises that block each other in the first order that is tried."""
    assert solve(parse_problem(hard_to_insert()), stop=RoundLimit(0)).keeps_promises


def hard_to_insert() -> dict[str, object]:
    """J2 pays more and goes in first, where it is worth most, with the crew that alone may do J1."""
    data = four_stop_day()
    a = data["crews"][0]
    a.pop("break")
    a["shift"] = [0, 100]
    data["crews"] = [a, {**a, "id": "B", "cents_per_minute": 300}]
    data["jobs"] = data["jobs"][:2]
    for job in data["jobs"]:
        job["must_do"] = True
    data["jobs"][0].update(crews=["A"], gain_cents=100)
    return data


@dataclass(frozen=True)
class OverAfter:
    """A clock that stands still, and is over once it was looked at so often."""

    looks: int

    def started(self) -> Watch:
        return _Looked(itertools.count(), self.looks)


@dataclass(frozen=True)
class _Looked:
    seen: "itertools.count[int]"
    looks: int

    def seconds(self) -> float:
        return 0.0

    def seconds_left(self) -> float:
        return 0.05 if next(self.seen) < self.looks else 0.0

    def over(self, rounds: int) -> bool:
        return self.seconds_left() <= 0

    def earlier(self, share: float) -> Watch:
        return self

    def share(self, part: float) -> Stop:
        return OverAfter(round(self.looks * part))


STOPS = st.one_of(
    st.integers(0, 3).map(RoundLimit),
    st.integers(0, 60).map(OverAfter),
    st.sampled_from([1e-9, 0.001, 0.02]).map(TimeLimit),
)


@settings(max_examples=300, deadline=None)
@given(promising_days(), STOPS, st.sampled_from(["value", "ratio"]))
def test_infeasible_is_said_only_where_it_is_true(problem: Problem, stop: Stop, objective: str) -> None:
    """Whenever the search ends, at once or later, in every plan told on the way: trying everything agrees."""
    told: list[Plan] = []
    params = Params(objective=objective)  # type: ignore[arg-type]
    told.append(solve(problem, stop=stop, params=params, on_progress=told.append))
    can_be_kept = best_value(problem) is not None
    for plan in told:
        assert evaluate(problem, plan).faults == ()
        assert plan.keeps_promises == (not plan.reasons)
        assert plan.status != "infeasible" or not can_be_kept
        assert can_be_kept or not plan.keeps_promises


@settings(max_examples=150, deadline=None)
@given(promising_days())
def test_with_enough_rounds_promises_are_always_decided(problem: Problem) -> None:
    plan = solve(problem, stop=RoundLimit(60))
    assert plan.status == ("infeasible" if best_value(problem) is None else "optimal")


@settings(max_examples=100, deadline=None)
@given(promising_days(max_jobs=4))
def test_where_leaving_out_is_safe_it_breaks_no_route(problem: Problem) -> None:
    """Every order of up to three stops that keeps its times still keeps them without any one of its stops; so what
    was tried in vain there is impossible."""
    model = build_model(problem)
    if not leaving_out_is_safe(model):
        return
    for crew in problem.crews:
        able = [job for k, job in enumerate(problem.jobs) if model.allowed[problem.crew_ids.index(crew.id), k]]
        for order in itertools.chain.from_iterable(itertools.permutations(able, size) for size in (2, 3)):
            if route_value(problem, crew, list(order)) is not None:
                for left in order:
                    assert route_value(problem, crew, [job for job in order if job != left]) is not None
    promised = [j for j, job in enumerate(problem.jobs) if job.must_do and job.id not in problem.fixed_crew]
    assert (place_all(model, promised, Tries(10**6)) is None) == (best_value(problem) is None)


@settings(max_examples=100, deadline=None)
@given(promising_days(max_jobs=4))
def test_what_is_out_of_reach_is_in_no_plan(problem: Problem) -> None:
    """A job that no crew can reach is impossible to promise, on every table."""
    reach = Reach(build_model(problem))
    for j, job in enumerate(problem.jobs):
        if not any(reach.could(k, j) for k in range(len(problem.crews))):
            alone = problem.replace(jobs=tuple(replace(each, must_do=each == job) for each in problem.jobs))
            assert best_value(alone) is None
