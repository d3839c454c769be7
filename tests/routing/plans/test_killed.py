"""A process that is killed in the middle of planning leaves the day as it was, and the day can be planned again."""

import os
import signal
import subprocess
import sys
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from routing.plans import services
from routing.plans.models import DayPlan, PlanRun, Stop
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)
ROOT = Path(__file__).resolve().parents[3]
PLAN_AND_DIE = """
import os, signal, sys
import django
from django.conf import settings

database, run_id, moment = sys.argv[1:]
settings.DATABASES["default"]["NAME"] = database
django.setup()
from routing.plans.services import runs


def dying(work):
    def worked_and_died(*args, **kwargs):
        work(*args, **kwargs)
        os.kill(os.getpid(), signal.SIGKILL)

    return worked_and_died


progress_of = runs.progress_of
if moment == "searching":
    runs.progress_of = lambda *args: dying(progress_of(*args))
else:
    runs.plan_rows_replace = dying(runs.plan_rows_replace)
runs.plan_run_execute(run_id=int(run_id))
"""


@pytest.mark.parametrize("moment", ["searching", "storing"])
@pytest.mark.usefixtures("solve_here")
def test_killed_while(moment: str, day: date, morning: datetime, whole_day: dict[str, Any]) -> None:
    """Dead after the first plan was reported, or with all rows written and not committed: nothing of it is there."""
    crew = factories.make_crew()
    jobs = [factories.make_job(windows=[whole_day]) for _ in range(3)]
    factories.make_day_plan(yard=crew.yard, jobs=jobs[:1])
    before = everything()
    run = PlanRun.objects.create(yard=crew.yard, work_date=day, seconds_allowed=1, created_at=morning)
    killed = plan_and_die(run, moment)
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    run.refresh_from_db()
    assert run.state == "running"
    assert everything() == before

    services.plan_runs_reap(now=run.started_at + timedelta(minutes=5))  # type: ignore[operator]
    run.refresh_from_db()
    assert run.state == "failed"
    again = services.day_plan_make(yard=crew.yard, work_date=day, seconds=1, now=morning)
    assert again.version == 2
    assert Stop.objects.count() == 3


def plan_and_die(run: PlanRun, moment: str) -> "subprocess.CompletedProcess[str]":
    """The run, carried out by another process on this database."""
    command = [sys.executable, "-c", PLAN_AND_DIE, str(connection.settings_dict["NAME"]), str(run.pk), moment]
    environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "config.settings.test"}
    return subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=120, check=False)


def everything() -> tuple[Any, ...]:
    """All that a stored plan would change."""
    stops = list(Stop.objects.order_by("pk").values())
    return list(DayPlan.objects.values()), stops, Event.objects.count()
