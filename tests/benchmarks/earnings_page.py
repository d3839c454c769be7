# ruff: noqa: T201  printing tables is what this program is for
"""The earnings page over very many job lines, beside the one SQL aggregate that it rests on."""

import os
import random
import time
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from typing import Any

import django
from django.conf import settings

MOST_QUERIES = 10
MOST_TIMES = 1.5
ROUNDS = 3
SERVICES, CREWS, FIRST_DAY, DAYS = 10, 6, date(2023, 1, 1), 1_200
PARTS = ("centre", "north", "east", "south", "west")
SOURCES = ("flyer", "neighbour", "sign on the truck", "")


def page_over_many_lines(lines: int) -> bool:
    """Print queries and times for each breakdown; False where one is over its limit."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.test")
    django.setup()
    settings.MIGRATION_MODULES = dict.fromkeys(_labels())
    from django.test.utils import setup_databases, teardown_databases

    made = setup_databases(verbosity=0, interactive=False)
    try:
        _fill(lines)
        return _measure(lines)
    finally:
        teardown_databases(made, verbosity=0)


def _labels() -> list[str]:
    from django.apps import apps

    return [app.label for app in apps.get_app_configs()]


def _measure(lines: int) -> bool:
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    from pricing.earnings.domain.breakdown import Breakdown
    from pricing.earnings.selectors import sums_statement
    from shared.people.models import User

    client = Client()
    client.force_login(User.objects.create(username="owner", role="owner"))
    bounds = [connection.ops.adapt_datefield_value(day) for day in (date.min, date(2030, 1, 1))]
    limits = f"at most {MOST_QUERIES} queries and {MOST_TIMES} times"
    print(f"The page over {lines:,} job lines on {connection.vendor} ({limits})")
    good = True
    for by in Breakdown:
        path = f"/earnings/?by={by}&until=2029-12-31"
        with CaptureQueriesContext(connection) as queries:
            assert client.get(path).status_code == 200
        count = len(queries)  # before the next request empties the log
        page = _best(lambda path=path: client.get(path))
        aggregate = _best(lambda by=by: _run(sums_statement(by), bounds))
        good &= 0 < count <= MOST_QUERIES and page <= MOST_TIMES * aggregate
        print(f"  {by:9} {count:2} queries  {page / aggregate:5.2f} times the aggregate's {aggregate:5.2f} s")
    return good


def _run(statement: str, parameters: list[Any]) -> None:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(statement, parameters)
        cursor.fetchall()


def _best(work: Callable[[], Any]) -> float:
    """The least of a few runs, in seconds: other programs on the machine only ever add."""
    seconds = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - began)
    return min(seconds)


def _fill(lines: int) -> None:
    from pricing.catalogue.models import HourlyTarget, Service
    from pricing.earnings.models import EarningEntry

    HourlyTarget.objects.create(effective_from=FIRST_DAY, target_cents_per_crew_hour=175_00)
    services = [Service.objects.create(code=f"kind-{i}", name=f"Kind {i}", unit="each") for i in range(SERVICES)]
    EarningEntry.objects.bulk_create(_entries(lines, [service.pk for service in services]), batch_size=2_000)


def _entries(lines: int, services: list[int]) -> Iterator[Any]:
    """Two lines a job on average; one entry in fifty is a free return visit, one in a hundred a refund."""
    from pricing.earnings.models import EarningEntry

    rng = random.Random(5)
    for number in range(lines):
        job = number // 2
        kind = "refund" if number % 100 == 99 else "callback" if number % 50 == 49 else "work"
        worked = kind != "refund"
        yield EarningEntry(
            kind=kind,
            work_date=FIRST_DAY + timedelta(days=job * DAYS // lines),
            service_id=services[rng.randrange(SERVICES)],
            job_ref=job,
            price_cents={"work": rng.randint(150_00, 900_00), "callback": 0, "refund": -20_00}[kind],
            card_price_cents=400_00,
            materials_cents=12_00,
            on_site_minutes=rng.randint(30, 200) if worked else 0,
            drive_minutes=rng.randint(2, 30) if worked else 0,
            estimated_minutes=100,
            wage_cents=90_00,
            crew_code=f"crew-{job % CREWS}",
            storeys=1 + job % 3,
            city="Sampleton",
            town_part=PARTS[job % len(PARTS)],
            lead_source=SOURCES[job % len(SOURCES)],
            is_returning=job % 3 == 0,
        )
