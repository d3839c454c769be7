"""`manage.py solve` on files as people and machines get them wrong, and on one that is only very large."""

import json
import os
import random
import subprocess
import sys
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from routing.plans.management.commands import solve as command
from routing.solver import evaluate, parse_plan, parse_problem
from tests.routing.plans.conftest import nothing_decided
from tests.routing.solver.days import four_stop_day

ROOT = Path(__file__).resolve().parents[3]


def solve(path: Path, *more: str) -> "subprocess.CompletedProcess[str]":
    command = [sys.executable, "manage.py", "solve", str(path), *more]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, env=os.environ, check=False)


def text_of(**changes: Any) -> str:
    return json.dumps({**four_stop_day(), **changes})


def crew(**changes: Any) -> list[Any]:
    return [{**four_stop_day()["crews"][0], **changes}]


def jobs(number: int, **changes: Any) -> list[Any]:
    found = four_stop_day()["jobs"]
    found[number] = {**found[number], **changes}
    return found


HOSTILE = {
    "no number": (text_of(crews=crew(cents_per_minute=float("nan"))), ["$.crews[0].cents_per_minute"]),
    "endless number": (text_of(jobs=jobs(0, gain_cents=float("inf"))), ["$.jobs[0].gain_cents"]),
    "huge": (text_of(jobs=jobs(1, gain_cents=10**30, on_site_minutes=-1)),
             ["$.jobs[1].gain_cents", "$.jobs[1].on_site_minutes"]),
    "wrong shape": (text_of(drive_minutes=[[0, 1], [1, 0]], drive_metres=[]), ["$.drive_minutes", "$.drive_metres"]),
    "ragged": (text_of(drive_minutes=[[0] * 5] * 4 + [[0] * 4]), ["$.drive_minutes[4]"]),
    "same job twice": (text_of(jobs=jobs(1, id="J1")), ["$.jobs[1].id"]),
    "unknown places": (text_of(jobs=jobs(2, place="nowhere"), crews=crew(start="mars")),
                       ["$.jobs[2].place", "$.crews[0].start"]),
    "fixed in a circle": (text_of(fixed={"A": ["J1", "J2", "J1"], "J1": ["A"]}),
                          ["$.fixed.A[0]", "$.fixed.A[2]", "$.fixed.J1", "$.fixed.J1[0]"]),
    "a field twice": (text_of().replace('"id": "J1"', '"id": "J1", "id": "J9"'), ["$.jobs[0].id"]),
    "too deep": ("[" * 100_000 + "]" * 100_000, ["$: the JSON is nested too deeply"]),
    "not JSON": ('{"format": "day-problem/1",', ["$: not JSON"]),
    "another thing": ("[]", ["$: must be an object"]),
    "empty": ("", ["$: not JSON"]),
    "windows": (text_of(jobs=jobs(3, windows=[])), ["$.jobs[3].windows"]),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_are_refused_with_every_fault(name: str, tmp_path: Path) -> None:
    """Exit 2, each fault on a line with its path, nothing written."""
    content, faults = HOSTILE[name]
    path, out = tmp_path / "problem.json", tmp_path / "plan.json"
    path.write_text(content)
    told = StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("solve", str(path), out=out, stdout=told, stderr=told)
    assert ended.value.code == 2
    assert not out.exists()
    lines = told.getvalue().splitlines()
    for fault in faults:
        assert any(line.startswith(fault) for line in lines), (fault, lines)


def test_a_malformed_file_ends_the_process_without_a_traceback(tmp_path: Path) -> None:
    path = tmp_path / "problem.json"
    path.write_text("{}")
    done = solve(path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "$.places: is missing" in done.stderr
    assert "Traceback" not in done.stderr


def test_of_very_many_faults_a_hundred_are_named_and_the_rest_counted(tmp_path: Path) -> None:
    """10,000 jobs that lack five fields each: no screen can hold that, and no number is hidden."""
    path, told = tmp_path / "problem.json", StringIO()
    path.write_text(text_of(jobs=[{} for _ in range(10_000)]))
    with pytest.raises(SystemExit) as ended:
        call_command("solve", str(path), stdout=told, stderr=told)
    assert ended.value.code == 2
    *named, last = told.getvalue().splitlines()
    assert len(named) == 100
    assert named[0] == "$.jobs[0].windows: is missing"
    assert last == "... and 49,900 more"


def test_a_file_that_cannot_be_opened_is_named(tmp_path: Path) -> None:
    done = solve(tmp_path / "none.json")
    assert done.returncode == 1
    assert "none.json" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_plan_for_the_best_ratio_is_written(tmp_path: Path) -> None:
    """Both figures stand in the file and on standard error."""
    path, out = tmp_path / "problem.json", tmp_path / "plan.json"
    path.write_text(text_of())
    done = solve(path, "--out", str(out), "--seconds", "3", "--objective", "ratio")
    assert done.returncode == 0, done.stderr
    plan = parse_plan(json.loads(out.read_text()))
    assert evaluate(parse_problem(four_stop_day()), plan).faults == ()
    assert plan.best_ratio is not None
    assert plan.best_ratio.cents_per_crew_hour == 7_875
    assert "$78.75" in done.stderr


def test_promises_that_were_not_decided_in_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The nearest plan is written with that status; the words stand in it and on standard error."""
    path, out, told = tmp_path / "problem.json", tmp_path / "plan.json", StringIO()
    path.write_text(text_of(jobs=jobs(1, must_do=True)))
    monkeypatch.setattr(command, "solve_in_child", nothing_decided)
    call_command("solve", str(path), out=out, stdout=told, stderr=told)
    written = json.loads(out.read_text())
    assert (written["status"], written["infeasible_is_proved"]) == ("infeasible", False)
    plan = parse_plan(written)
    words = "not decided in time whether all promises can be kept: no plan was found that keeps J2 too"
    assert (plan.status, plan.reasons) == ("undecided", (words,))
    assert evaluate(parse_problem(json.loads(path.read_text())), plan).faults == ()
    assert words in told.getvalue().splitlines()


def very_many_jobs(count: int) -> dict[str, Any]:
    """So many jobs at few places, well formed; two crews."""
    rng = random.Random(5)
    points = [rng.randrange(60) for _ in range(40)]
    table = [[abs(a - b) for b in points] for a in points]
    base = four_stop_day()["crews"][0]
    return {
        "format": "day-problem/1",
        "places": [f"p{i}" for i in range(40)],
        "drive_minutes": table,
        "drive_metres": [[700 * cell for cell in row] for row in table],
        "crews": [{**base, "id": name, "start": "p0", "end": "p0"} for name in "AB"],
        "jobs": [
            {"id": f"J{j}", "place": f"p{rng.randrange(40)}", "on_site_minutes": rng.choice([30, 60, 90]),
             "windows": [[0, 400]], "gain_cents": rng.randrange(3_000, 30_000)}
            for j in range(count)
        ],
    }  # fmt: skip


def test_ten_thousand_jobs_get_an_honest_answer(tmp_path: Path) -> None:
    """An answer with a valid bound, not called optimal; it says that only a shortlist was searched."""
    problem = very_many_jobs(10_000)
    path, out = tmp_path / "problem.json", tmp_path / "plan.json"
    path.write_text(json.dumps(problem))
    done = solve(path, "--out", str(out), "--seconds", "2")
    assert done.returncode == 0, done.stderr
    plan = parse_plan(json.loads(out.read_text()))
    assert evaluate(parse_problem(problem), plan).faults == ()
    assert plan.status == "feasible"
    assert plan.value_cents > 0
    assert plan.solver["shortlist"] == 1_000
