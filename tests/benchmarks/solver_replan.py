# ruff: noqa: T201  printing tables is what this program is for
"""Replans of the demo company's day, from the request to the stored plan: each crew in turn drops out at 10:00."""

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

TARGET_SECONDS = 2.0
SEVEN, TEN = hour(7), hour(10)


def run_replans() -> list[str]:
    """Prints the table; the targets missed. Everything is written to a folder that is gone afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        plan = _sent_day(Path(folder))
        print("\n| drops out at 10:00 | s | value $ | bound $ | status | to be called |\n|---|---|---|---|---|---|")
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
    from django.db import transaction

    from routing.plans.selectors.moves import moves_since_sent
    from routing.plans.services import News, day_replan

    for crew in [route.crew for route in plan.routes.all()]:
        with transaction.atomic():
            began = time.perf_counter()
            news = News(crew.code, "drops_out", TEN)
            after = day_replan(plan_id=plan.pk, news=news, expected_version=plan.version, now=_at(plan, TEN))
            seconds = time.perf_counter() - began
            calls = sum(move.must_be_called for move in moves_since_sent(after))
            transaction.set_rollback(True)
        print(
            f"| {crew.name} | {seconds:.2f} | {after.value_cents / 100:,.2f} | {after.upper_bound_cents / 100:,.2f} | "
            f"{after.plan['status']} | {calls} |",
            flush=True,
        )
        if seconds > TARGET_SECONDS:
            yield f"a replan took {seconds:.2f} s"
