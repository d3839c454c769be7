# ruff: noqa: T201  printing tables is what this program is for
"""Replans of the demo company's day, from the request to the stored plan: each crew in turn drops out at 10:00.

Each is made twice in the same run: with a solver process that is started for it, and with one that waits loaded.
"""

import os
import tempfile
import time
from collections.abc import Iterator
from datetime import datetime
from datetime import time as hour
from io import StringIO
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from routing.solver import standby

TARGET_SECONDS = 2.0
LOADING_SECONDS = 10.0  # for the waiting process; a busy machine takes several times the usual one
SEVEN, TEN = hour(7), hour(10)


def run_replans() -> list[str]:
    """Prints the table; the targets missed. Everything is written to a folder that is gone afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        plan = _sent_day(Path(folder))
        print("\n| drops out at 10:00 | process | s | value $ | bound $ | status | to be called |")
        print("|---|---|---|---|---|---|---|")
        return list(_missed(plan))


def _sent_day(folder: Path) -> Any:
    """The demo's day, planned and sent out at seven."""
    os.environ.update(WALLDAY_DATA=str(folder), DJANGO_SETTINGS_MODULE="config.settings.embedded")
    import django

    django.setup()
    from django.core.management import call_command

    from routing.dispatch.services import plan_send_out
    from routing.plans.models import DayPlan

    call_command("demo", "--no-serve", stdout=StringIO(), stderr=StringIO())
    plan = DayPlan.objects.get()
    plan_send_out(plan=plan, expected_version=plan.version, now=_at(plan, SEVEN))
    return DayPlan.objects.get()


def _at(plan: Any, clock: hour) -> datetime:
    return datetime.combine(plan.work_date, clock, ZoneInfo(plan.yard.timezone))


def _missed(plan: Any) -> Iterator[str]:
    seconds: dict[str, list[float]] = {"started": [], "waiting": []}
    for crew in [route.crew for route in plan.routes.all()]:
        for process in seconds:
            _prepare(process)
            took, line = _replanned(plan, crew.code)
            seconds[process].append(took)
            print(f"| {crew.name} | {process} | {took:.2f} | {line} |", flush=True)
    standby.end()
    ratio = sum(seconds["waiting"]) / sum(seconds["started"])
    print(f"\nwith a waiting process, as a share of the time with one started for it: {ratio:.2f}")
    yield from (f"a replan took {took:.2f} s" for took in seconds["waiting"] if took > TARGET_SECONDS)


def _prepare(process: str) -> None:
    """No process waits, or one has had the time to load."""
    standby.end()
    if process == "waiting":
        standby.keep_ready()
        time.sleep(LOADING_SECONDS)


def _replanned(plan: Any, crew_code: str) -> tuple[float, str]:
    """The seconds, and the rest of the table's line."""
    from django.db import transaction

    from routing.plans.selectors.moves import moves_since_sent
    from routing.plans.services import News, day_replan

    with transaction.atomic():
        began = time.perf_counter()
        news = News(crew_code, "drops_out", TEN)
        after = day_replan(plan_id=plan.pk, news=news, expected_version=plan.version, now=_at(plan, TEN))
        seconds = time.perf_counter() - began
        calls = sum(move.must_be_called for move in moves_since_sent(after))
        transaction.set_rollback(True)
    value, bound = after.value_cents / 100, after.upper_bound_cents / 100
    return seconds, f"{value:,.2f} | {bound:,.2f} | {after.plan['status']} | {calls}"
