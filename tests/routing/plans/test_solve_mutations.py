"""`manage.py solve` on well-formed random files in which something was changed: a plan that keeps every rule, or exit 2
with every fault by its path; never anything else."""

import copy
import json
from collections.abc import Callable
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from routing.plans.management.commands import solve as command
from routing.solver import (
    Params,
    Plan,
    Problem,
    RoundLimit,
    evaluate,
    load_json,
    parse_plan,
    parse_problem,
    plan_to_json,
    problem_to_json,
    solve,
)
from tests.routing.solver.strategies import day_problem_data

Steps = tuple[str | int, ...]
NO_INTEGERS: tuple[Any, ...] = (
    float("nan"),
    float("inf"),
    -float("inf"),
    1e30,
    12.0,
    0.5,
    "12",
    "",
    True,
    [],
    {},
    [[0]],
)
NO_QUANTITIES: tuple[Any, ...] = (10**30, -(10**30), 10**19, -(2**63))
NEVER_NEGATIVE = {
    "on_site_minutes": 10**6, "drive_minutes": 10**6, "drive_metres": 10**8, "cents_per_minute": 10**6,
    "cents_per_km": 10**6, "fixed_cents": 10**9, "minutes": 10**6, "after_minutes": 10**6,
    "extra_cents_per_minute": 10**6, "pace_percent": 10**4, "capacity": 10**9, "uses": 10**9,
    "reserve_cents_per_crew_hour": 10**6,
}  # fmt: skip
"""Fields, or what holds them, and the most that may stand there."""
MOST = 10**9
"""The most of all other quantities, either way."""
JUNK: tuple[Any, ...] = (None, True, 0, -1, 1.5, "", "x" * 201, "\ud800", "a\nb", [], {}, [[]], {"id": {}}, [None])
OF = {"place": "$.places", "start": "$.places", "end": "$.places", "crew": "$.crews", "crews": "$.crews"}
"""Where the names are given that these fields use."""


@dataclass(frozen=True)
class Mutant:
    """A file, and the paths in it that are certainly wrong."""

    text: bytes
    wrong: frozenset[str]


def path_of(steps: Steps) -> str:
    return "$" + "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in steps)


def steps_in(value: Any, steps: Steps = ()) -> list[Steps]:
    keys = list(value) if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else []
    return [found for key in keys for found in [(*steps, key), *steps_in(value[key], (*steps, key))]]


def at(value: Any, steps: Steps) -> Any:
    for step in steps:
        value = value[step]
    return value


def holds(value: Any, steps: Steps, wanted: Any) -> bool:
    try:
        return repr(at(value, steps)) == repr(wanted)
    except (LookupError, TypeError):
        return False


Change = tuple[Steps, Any] | None
"""Where something is certainly wrong now, and what stands there."""


def wrong_quantity(draw: st.DrawFn, data: Any) -> Change:
    whole = [steps for steps in steps_in(data) if type(at(data, steps)) is int]
    if not whole:
        return None
    steps = draw(st.sampled_from(whole))
    negative = (-1,) if NEVER_NEGATIVE.keys() & set(steps) and "prefer" not in steps else ()
    value = draw(st.sampled_from((*NO_INTEGERS, *NO_QUANTITIES, *negative)))
    at(data, steps[:-1])[steps[-1]] = value
    return steps, value


def extreme_quantity(draw: st.DrawFn, data: Any) -> Change:
    """At its bounds, or just beyond; within them the day has to be planned."""
    whole = [steps for steps in steps_in(data) if type(at(data, steps)) is int]
    if whole:
        steps = draw(st.sampled_from(whole))
        most = min((NEVER_NEGATIVE[step] for step in steps if step in NEVER_NEGATIVE), default=MOST)
        least = 0 if NEVER_NEGATIVE.keys() & set(steps) else -most
        at(data, steps[:-1])[steps[-1]] = draw(st.sampled_from((most, most, least, least, most + 1)))
    return None


def unknown_name(draw: st.DrawFn, data: Any) -> Change:
    named = [steps for steps in steps_in(data) if isinstance(at(data, steps), str) and _is_use(steps)]
    if not named:
        return None
    steps = draw(st.sampled_from(named))
    at(data, steps[:-1])[steps[-1]] = "nowhere"
    return steps, "nowhere"


def _is_use(steps: Steps) -> bool:
    """Whether a name stands there that has to be given elsewhere."""
    if steps[0] == "fixed":
        return True
    return len(steps) > 2 and (steps[-1] in ("place", "start", "end", "crew") or steps[-2] == "crews")


def left_away(draw: st.DrawFn, data: Any) -> Change:
    steps = draw(st.sampled_from(steps_in(data)))
    del at(data, steps[:-1])[steps[-1]]
    return None


def given_twice(draw: st.DrawFn, data: Any) -> Change:
    """An element of a list again at its end: an id that is taken, a row too many, a stop that is fixed twice."""
    lists = [steps for steps in steps_in(data) if isinstance(at(data, steps), list) and at(data, steps)]
    steps = draw(st.sampled_from(lists))
    at(data, steps).append(copy.deepcopy(draw(st.sampled_from(at(data, steps)))))
    return None


def junk(draw: st.DrawFn, data: Any) -> Change:
    steps = draw(st.sampled_from(steps_in(data)))
    at(data, steps[:-1])[steps[-1]] = draw(st.sampled_from(JUNK))
    return None


def fixed_in_a_circle(draw: st.DrawFn, data: Any) -> Change:
    """Everything fixed to everybody, and to jobs as if they were crews."""
    names = draw(st.lists(st.sampled_from(["A", "B", "J1", "J2", ""]), min_size=1, max_size=4))
    data["fixed"] = dict.fromkeys(names, names)
    return None


CHANGES: tuple[Callable[[st.DrawFn, Any], Change], ...] = (
    wrong_quantity, wrong_quantity, extreme_quantity, extreme_quantity, unknown_name, left_away, given_twice, junk,
    fixed_in_a_circle,
)  # fmt: skip


@st.composite
def mutants(draw: st.DrawFn) -> Mutant:
    """One to three changes; what a later one took away again is not expected to be named."""
    data = draw(day_problem_data(max_jobs=4, max_crews=2))
    made: list[tuple[Steps, Any]] = []
    for change in draw(st.lists(st.sampled_from(CHANGES), min_size=1, max_size=3)):
        try:
            done = change(draw, data)
        except (LookupError, TypeError, AttributeError):  # what an earlier change left cannot be changed in this way
            continue
        made += [done] if done else []
    wrong = frozenset(path_of(steps) for steps, value in made if holds(data, steps, value))
    return Mutant(json.dumps(data).encode(), wrong)


@st.composite
def torn_files(draw: st.DrawFn) -> Mutant:
    """Good files changed as text: cut short, other bytes, a field twice, nested without end, digits without end."""
    text = json.dumps(draw(day_problem_data(max_jobs=3, max_crews=2))).encode()
    place = draw(st.integers(0, len(text) - 1))
    kind = draw(st.sampled_from(["cut", "bytes", "twice", "deep", "digits", "mark", "wide"]))
    if kind == "cut":
        return Mutant(text[:place], frozenset("$"))
    if kind == "bytes":
        return Mutant(text[:place] + draw(st.binary(min_size=1, max_size=4)) + text[place:], frozenset())
    if kind == "twice":
        return Mutant(text.replace(b'"places":', b'"places": 3, "places":', 1), frozenset(["$.places"]))
    if kind == "mark":
        return Mutant(b"\xef\xbb\xbf" + text, frozenset())
    if kind == "wide":
        return Mutant(text.decode().encode("utf-16"), frozenset())
    start, digit = b'"reserve_cents_per_crew_hour": ', {"deep": b"[" * 50_000, "digits": b"9" * 5_000}[kind]
    return Mutant(text.replace(start, start + digit, 1), frozenset("$"))


def here(problem: Problem, *, seconds: float, seed: int, objective: str) -> Plan:
    """As the child answers, by counted rounds: what goes over the pipe is read back on both sides."""
    given = parse_problem(json.loads(json.dumps(problem_to_json(problem))))
    plan = solve(given, stop=RoundLimit(2), seed=seed, params=Params(objective=objective))  # type: ignore[arg-type]
    return parse_plan(json.loads(json.dumps(plan_to_json(plan))))


@pytest.fixture
def solve_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "solve_in_child", here)


def check(mutant: Mutant, folder: Path) -> None:
    path, out, told = folder / "problem.json", folder / "plan.json", StringIO()
    path.write_bytes(mutant.text)
    out.unlink(missing_ok=True)
    if exit_code(path, out, told):
        check_faults(mutant, told.getvalue().splitlines())
        assert not out.exists()
        return
    assert not mutant.wrong
    assert evaluate(parse_problem(load_json(mutant.text)), parse_plan(json.loads(out.read_text()))).faults == ()


def exit_code(path: Path, out: Path, told: StringIO) -> int:
    """0 or 2; any other end of the command is an error of the test."""
    try:
        call_command("solve", str(path), out=out, stdout=told, stderr=told)
    except SystemExit as ended:
        if ended.code != 2:
            raise
        return 2
    return 0


def check_faults(mutant: Mutant, lines: list[str]) -> None:
    """Each line names a path; each path that is wrong is named, or what holds it."""
    assert lines
    assert all(line.startswith("$") and ": " in line for line in lines), lines
    named = [line.split(": ")[0] for line in lines]
    for path in mutant.wrong:
        of = "$.jobs" if path.startswith("$.fixed") else OF.get(path.rsplit(".", 1)[-1].split("[")[0], "no list")
        assert any(path.startswith(name) for name in named) or any(name.startswith(of) for name in named), (path, lines)


FEW = settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])


@pytest.mark.usefixtures("solve_here")
@settings(FEW, max_examples=400)
@given(mutants())
def test_changed_files(tmp_path: Path, mutant: Mutant) -> None:
    check(mutant, tmp_path)


@pytest.mark.usefixtures("solve_here")
@settings(FEW, max_examples=120)
@given(torn_files())
def test_torn_files(tmp_path: Path, mutant: Mutant) -> None:
    check(mutant, tmp_path)
