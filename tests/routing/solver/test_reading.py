"""Problems and plans as JSON: every fault with its path, exact round trips, nothing ever crashes."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from routing.solver import (
    MalformedProblem,
    Plan,
    Problem,
    RoundLimit,
    load_json,
    parse_plan,
    parse_problem,
    plan_to_json,
    problem_to_json,
    solve,
)
from tests.routing.solver.days import four_stop_day
from tests.routing.solver.strategies import day_problem_data, day_problems

NAN, INFINITY = float("nan"), float("inf")


def _faults(data: Any) -> dict[str, str]:
    with pytest.raises(MalformedProblem) as refused:
        parse_problem(data)
    return {fault.path: fault.message for fault in refused.value.faults}


@pytest.mark.parametrize(
    ("change", "path", "message"),
    [
        (lambda d: d.update(format="day-problem/2"), "$.format", 'must be "day-problem/1"'),
        (lambda d: d.pop("jobs"), "$.jobs", "is missing"),
        (lambda d: d.update(jobs={}), "$.jobs", "must be a list, not an object"),
        (lambda d: d["jobs"].append(3), "$.jobs[4]", "must be an object, not 3"),
        (lambda d: d["jobs"][0].update(gain_cents=NAN), "$.jobs[0].gain_cents", "not nan"),
        (lambda d: d["jobs"][0].update(gain_cents=INFINITY), "$.jobs[0].gain_cents", "too large"),
        (lambda d: d["jobs"][0].update(gain_cents=1e30), "$.jobs[0].gain_cents", "too large"),
        (lambda d: d["jobs"][0].update(gain_cents=10**30), "$.jobs[0].gain_cents", "must be from"),
        (lambda d: d["jobs"][0].update(gain_cents=12.0), "$.jobs[0].gain_cents", "not 12.0"),
        (lambda d: d["jobs"][0].update(on_site_minutes=True), "$.jobs[0].on_site_minutes", "not true"),
        (lambda d: d["jobs"][0].update(on_site_minutes=-1), "$.jobs[0].on_site_minutes", "must be from 0"),
        (lambda d: d["jobs"][0].update(on_site_minutes="60"), "$.jobs[0].on_site_minutes", "not text"),
        (lambda d: d["jobs"][3].update(windows=[[9, 3]]), "$.jobs[3].windows[0]", "before it begins"),
        (lambda d: d["jobs"][3].update(windows=[[9]]), "$.jobs[3].windows[0]", "two minutes"),
        (lambda d: d["jobs"][3].update(windows=[]), "$.jobs[3].windows", "at least one"),
        (lambda d: d["jobs"][3].update(id="J1"), "$.jobs[3].id", "already at $.jobs[0].id"),
        (lambda d: d["jobs"][3].update(id=""), "$.jobs[3].id", "characters"),
        (lambda d: d["jobs"][3].update(place="moon"), "$.jobs[3].place", 'no place "moon"'),
        (lambda d: d["jobs"][3].update(crews=["B"]), "$.jobs[3].crews[0]", 'no crew "B"'),
        (lambda d: d["jobs"][3].update(uses={"mix": -1}), "$.jobs[3].uses.mix", "must be from 0"),
        (lambda d: d["jobs"][3].update(must_do=1), "$.jobs[3].must_do", "true or false"),
        (
            lambda d: d["jobs"][3].update(prefer={"crew": "B", "cents": 1}),
            "$.jobs[3].prefer.crew",
            'no crew "B"',
        ),
        (lambda d: d["crews"][0].update(shift=[9, 1]), "$.crews[0].shift", "before it begins"),
        (lambda d: d["crews"][0].update(shift=[0, 10**8]), "$.crews[0].shift", "is longer than"),
        (lambda d: d["crews"][0].update(start="moon"), "$.crews[0].start", 'no place "moon"'),
        (lambda d: d["crews"][0].update(pace_percent=0), "$.crews[0].pace_percent", "must be from 1"),
        (lambda d: d["crews"][0]["break"].update(window=[5, 1]), "$.crews[0].break.window", "before"),
        (lambda d: d["crews"][0].update(overtime={}), "$.crews[0].overtime.after_minutes", "missing"),
        (lambda d: d["crews"][0].update(overtime=None), "$.crews[0].overtime", "not null"),
        (lambda d: d["crews"].append(d["crews"][0]), "$.crews[1].id", "already at $.crews[0].id"),
        (lambda d: d["places"].append("yard"), "$.drive_minutes", "has 5 rows"),
        (lambda d: d["drive_minutes"][2].pop(), "$.drive_minutes[2]", "has 4 columns"),
        (lambda d: d["drive_minutes"][2].__setitem__(1, -3), "$.drive_minutes[2][1]", "must be from 0"),
        (lambda d: d["drive_metres"][2].__setitem__(1, NAN), "$.drive_metres[2][1]", "not nan"),
        (lambda d: d.update(drive_minutes=7), "$.drive_minutes", "must be a list"),
        (lambda d: d.update(fixed={"B": []}), "$.fixed.B", 'no crew "B"'),
        (lambda d: d.update(fixed={"A": ["J9"]}), "$.fixed.A[0]", 'no job "J9"'),
        (lambda d: d.update(fixed={"A": ["J1", "J1"]}), "$.fixed.A[1]", "more than once"),
        (lambda d: d.update(reserve_cents_per_crew_hour=-1), "$.reserve_cents_per_crew_hour", "from 0"),
    ],
)
def test_each_fault_is_named_with_its_path(change: Callable[[dict[str, Any]], object], path: str, message: str) -> None:
    """One thing made wrong in a good file."""
    data = four_stop_day()
    change(data)
    assert message in _faults(data)[path]


def test_all_faults_are_named_at_once() -> None:
    """Nothing is hidden behind the first fault; the list ends at a hundred."""
    data = four_stop_day()
    data["jobs"][0]["gain_cents"] = "many"
    data["crews"][0]["shift"] = 8
    data["drive_metres"][1][1] = 1.5
    assert set(_faults(data)) == {"$.jobs[0].gain_cents", "$.crews[0].shift", "$.drive_metres[1][1]"}
    data["jobs"] = [{"id": 5} for _ in range(5000)]
    assert len(_faults(data)) <= 100


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not JSON"),
        ("[" * 200_000, "nested too deeply"),
        ('{"a": ' + "9" * 10_000 + "}", "not JSON"),
        (b"\xff\xfe\x00", "not JSON"),
        ("\ufeff{}", "not JSON"),
    ],
)
def test_hostile_text_is_refused_in_words(text: str | bytes, words: str) -> None:
    """Text that is not JSON has one fault at the root and no traceback."""
    with pytest.raises(MalformedProblem, match=words):
        load_json(text)


def test_a_field_given_twice_is_a_fault() -> None:
    """JSON lets a second value silently win; we do not."""
    text = json.dumps(four_stop_day()).replace('"id": "J1"', '"id": "J0", "id": "J1"')
    assert _faults(load_json(text)) == {"$.jobs[0].id": "is given twice"}


@settings(max_examples=150, deadline=None)
@given(day_problems())
def test_round_trips_are_exact(problem: Problem) -> None:
    """Through JSON text and back, problem and plan are unchanged."""
    assert parse_problem(load_json(json.dumps(problem_to_json(problem)))) == problem
    plan: Plan = solve(problem, stop=RoundLimit(0))
    assert parse_plan(load_json(json.dumps(plan_to_json(plan)))) == plan


JUNK = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=5),
    st.lists(st.integers(-5, 5), max_size=3),
    st.dictionaries(st.text(max_size=3), st.integers(), max_size=2),
)


def _paths(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    keys = list(value) if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else []
    below = [found for key in keys for found in _paths(value[key], (*path, key))]
    return [path, *below] if path else below


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_junk_anywhere_is_read_or_refused(data: st.DataObject) -> None:
    """Any value put anywhere gives a problem or named faults, never another error."""
    problem = data.draw(day_problem_data())
    path = data.draw(st.sampled_from(_paths(problem)))
    target: Any = problem
    for key in path[:-1]:
        target = target[key]
    target[path[-1]] = data.draw(JUNK)
    try:
        parsed = parse_problem(problem)
    except MalformedProblem as error:
        faults = error.faults
    else:
        assert parse_problem(problem_to_json(parsed)) == parsed
        return
    assert faults


def test_a_malformed_plan_is_refused_with_paths() -> None:
    """The same for plans."""
    with pytest.raises(MalformedProblem) as refused:
        parse_plan({"format": "day-plan/1", "status": "fine", "routes": [{"stops": [{}]}], "left_out": [{}]})
    paths = {fault.path for fault in refused.value.faults}
    assert {"$.status", "$.value_cents", "$.routes[0].stops[0].arrive", "$.left_out[0].reason"} <= paths
