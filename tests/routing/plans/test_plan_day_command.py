"""manage.py plan_day, as people and as programs use it."""

import json
from datetime import date
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from routing.plans.models import DayPlan
from routing.solver import evaluate, parse_plan, parse_problem
from tests import factories

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("solve_here")]


@pytest.fixture
def job(whole_day: dict[str, Any]) -> Any:
    factories.make_crew(name="North", yard=factories.make_yard(code="main", latitude=40.0, longitude=-82.0))
    place = factories.make_property(latitude=40.01, longitude=-82.0)
    return factories.make_job(windows=[whole_day], property=place)


def test_a_table_for_people(job: Any, capsys: pytest.CaptureFixture[str]) -> None:
    """Crew, times and street of each stop, the value, where the drive times come from, what was left out."""
    other = factories.make_job(
        windows=[{"first_date": date(2026, 6, 3), "last_date": date(2026, 6, 3)}],
        property=factories.make_property(latitude=None, longitude=None),
    )
    call_command("plan_day", "--date", "2026-06-03", "--seconds", "1")
    text = capsys.readouterr().out
    assert "North" in text
    assert "7:34 am" in text
    assert job.property.street in text
    assert "estimated (great circle)" in text
    assert "Left out: 1" in text
    assert other.property.street in text


def test_json_for_programs(job: Any, capsys: pytest.CaptureFixture[str]) -> None:
    """One day-plan/1 on standard output, nothing else."""
    call_command("plan_day", "--yard", "main", "--date", "2026-06-03", "--seconds", "1", "--json")
    data = json.loads(capsys.readouterr().out)
    plan = DayPlan.objects.get()
    assert evaluate(parse_problem(plan.problem), parse_plan(data)).faults == ()
    assert (data["yard"], data["work_date"]) == ("main", "2026-06-03")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--yard", "nowhere"], "no yard with the code nowhere"),
        (["--seconds", "0"], "from 1 to 600"),
        (["--date", "2031-01-01"], "No agreed job"),
    ],
)
def test_what_it_cannot_do(job: Any, options: list[str], words: str) -> None:
    """Said in one line, without a traceback."""
    with pytest.raises(CommandError, match=words):
        call_command("plan_day", *options)


def test_two_yards_must_be_told_apart(job: Any) -> None:
    """The message names them."""
    factories.make_yard(code="second")
    with pytest.raises(CommandError, match="main, second"):
        call_command("plan_day")
