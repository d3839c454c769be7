# ruff: noqa: T201  printing tables is what this program is for
"""The due list of a company with a million walls on PostgreSQL, beside the plain SQL join that it rests on.

    WALLDAY_DATABASE_URL=postgres://... python -m tests.benchmarks.due_list [--quick]

Five walls at a property, three of them read and with a forecast; a yearly wash at each. Rows are made set-based in a
database of their own, which is dropped in the end. The join fetches what is due with its property and owner, row by
row through the same driver, and makes nothing of it. Exits 1 where a target is missed.
"""

import argparse
import os
import sys
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import django
from django.conf import settings

MOST_TIMES, MOST_GROWTH, MOST_QUERIES_A_CHUNK = 3.0, 1.5, 15
ROUNDS = 2
TODAY, LEAD_DAYS = date(2026, 6, 1), 30
WALLS, QUICK_WALLS, WALLS_EACH = 1_000_000, 60_000, 5

OWNER = "p.street, p.city, p.region, p.postal_code, p.latitude, p.longitude, c.name, c.email, c.phone_e164, c.language"
JOIN = "JOIN customers_property p ON p.id = {place} JOIN customers_customer c ON c.id = p.customer_id"
COMING = (
    "NOT EXISTS (SELECT 1 FROM work_jobline l JOIN work_job j ON j.id = l.job_id JOIN catalogue_service s "
    "ON s.id = l.service_id WHERE j.property_id = {place} AND j.state IN ('agreed', 'planned', 'on_site') AND {which})"
)
REMOVED = (
    "NOT EXISTS (SELECT 1 FROM work_visitline vl JOIN work_visit v ON v.id = vl.visit_id JOIN work_job j "
    "ON j.id = v.job_id JOIN catalogue_service s ON s.id = vl.service_id "
    "WHERE j.property_id = w.property_id AND s.removes_chalk AND v.work_date >= {since})"
)
PLAIN = (
    f"SELECT i.property_id, e.code, i.interval_months, i.last_done_on, i.next_due_on, {OWNER} "
    "FROM work_serviceinterval i JOIN catalogue_service e ON e.id = i.service_id "
    f"{JOIN.format(place='i.property_id')} WHERE i.next_due_on <= %(last)s AND e.is_offered "
    f"AND {COMING.format(place='i.property_id', which='l.service_id = i.service_id')} ORDER BY i.property_id",
    f"SELECT w.property_id, w.name, w.facing_degrees, r.reading, r.read_on, {OWNER} FROM walkthroughs_chalkreading r "
    f"JOIN customers_wall w ON w.id = r.wall_id {JOIN.format(place='w.property_id')} WHERE r.reading >= 2 "
    "AND NOT EXISTS (SELECT 1 FROM walkthroughs_chalkreading n WHERE n.wall_id = r.wall_id "
    "AND (n.read_on > r.read_on OR n.read_on = r.read_on AND n.id > r.id)) "
    f"AND {REMOVED.format(since='r.read_on')} AND {COMING.format(place='w.property_id', which='s.removes_chalk')} "
    "ORDER BY w.property_id",
    "SELECT w.property_id, w.name, w.facing_degrees, f.middle_on, f.early_on, f.late_on, "
    "(SELECT n.reading FROM walkthroughs_chalkreading n WHERE n.wall_id = w.id ORDER BY n.read_on DESC, n.id DESC "
    f"LIMIT 1), {OWNER} FROM chalking_wallforecast f JOIN customers_wall w ON w.id = f.wall_id "
    f"{JOIN.format(place='w.property_id')} WHERE f.refusal = '' AND f.limit_half_steps = 4 AND f.middle_on <= %(last)s "
    f"AND {REMOVED.format(since='f.since')} AND {COMING.format(place='w.property_id', which='s.removes_chalk')} "
    "ORDER BY w.property_id",
)

# `low` and `high` bound the numbers of the properties; a wall's number is five times its property's, and up to four
# more. Remainders of products with primes spread what varies, the same on every run.
FILL = (
    "INSERT INTO customers_customer (id, name, email, phone_e164, language, source, note, created_at) "
    "SELECT n, 'Customer ' || n, 'c' || n || '@example.com', '', 'en', '', '', now() "
    "FROM generate_series(%(low)s::bigint, %(high)s) n",
    "INSERT INTO customers_property (id, customer_id, street, city, region, postal_code, latitude, longitude, storeys, "
    "gate_note, pet_note, note) SELECT n, n, n || ' Sample Street', 'Sampleton', 'OH', '00001', "
    "40 + (n * 31 %% 1000) / 5000.0, -82 + (n * 37 %% 1000) / 5000.0, 1 + n %% 2, '', '', '' "
    "FROM generate_series(%(low)s::bigint, %(high)s) n",
    "INSERT INTO customers_wall (id, property_id, name, kind, material, colour, facing_degrees, area_sqft, storeys, "
    "shade, old_paint) SELECT n, n / 5, 'wall ' || n %% 5, 'face', 'vinyl', '', n %% 4 * 90, 400, 1, 'open', 'unknown' "
    "FROM generate_series(%(low)s::bigint * 5, %(high)s * 5 + 4) n",
    "INSERT INTO walkthroughs_chalkreading (wall_id, read_on, reading, method, scale, note) "
    "SELECT n, date '2025-01-01' + (n * 7919 %% 400)::int, (n * 104729 %% 26 / 25) * 2 + (n %% 3) * 0.5, "
    "'finger_test', 'field-0-5', '' FROM generate_series(%(low)s::bigint * 5, %(high)s * 5 + 4) n WHERE n %% 5 < 3",
    "INSERT INTO chalking_wallforecast (wall_id, model_id, made_at, limit_half_steps, refusal, since, since_what, "
    "dose_by_month, early_on, middle_on, late_on, reading_count, last_read_on) SELECT n, %(model)s, now(), 4, '', "
    "date '2020-01-01', 'unknown', '[]', d - 200, d, d + 400, 1, date '2025-06-01' "
    "FROM generate_series(%(low)s::bigint * 5, %(high)s * 5 + 4) n, "
    "LATERAL (SELECT date '2026-04-01' + (n * 15485863 %% 3000)::int AS d) days WHERE n %% 5 < 3",
    "INSERT INTO work_serviceinterval (property_id, service_id, interval_months, last_done_on, next_due_on) "
    "SELECT n, %(wash)s, 12, d - 365, d FROM generate_series(%(low)s::bigint, %(high)s) n, "
    "LATERAL (SELECT date '2026-04-15' + (n * 7907 %% 365)::int AS d) days",
)
FIRST = 1_000  # properties of the benchmark are numbered from here


@dataclass(frozen=True)
class Measured:
    lines: int
    queries: int
    seconds: float
    join_seconds: float
    peak_bytes: int


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help=f"{QUICK_WALLS:,} walls instead of {WALLS:,}")
    walls = QUICK_WALLS if parser.parse_args().quick else WALLS
    if not os.environ.get("WALLDAY_DATABASE_URL", "").startswith("postgres"):
        sys.exit("Set WALLDAY_DATABASE_URL to a PostgreSQL server; a database of its own is made there and dropped.")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.test")
    django.setup()
    sys.exit(0 if _in_own_database(walls) else 1)


def _in_own_database(walls: int) -> bool:
    from django.apps import apps
    from django.test.utils import setup_databases, teardown_databases

    settings.MIGRATION_MODULES = dict.fromkeys(app.label for app in apps.get_app_configs())
    settings.DATABASES["default"]["TEST"]["NAME"] = "wallday_due_list_benchmark"
    made = setup_databases(verbosity=0, interactive=False)
    try:
        return _run(walls // WALLS_EACH)
    finally:
        teardown_databases(made, verbosity=0)


def _run(places: int) -> bool:
    known = _rows_of_the_company()
    _fill(FIRST, FIRST + places // 4, known)
    small = _measure(places // 4)
    _fill(FIRST + places // 4 + 1, FIRST + places, known)
    large = _measure(places)
    times, growth = large.seconds / large.join_seconds, large.peak_bytes / small.peak_bytes
    a_chunk = large.queries / (large.lines / 1_000 + 1)
    print(f"of the plain join's time      {times:8.2f}   at most {MOST_TIMES}")
    print(f"memory for four times as much {growth:8.2f}   at most {MOST_GROWTH}")
    print(f"queries for a thousand lines  {a_chunk:8.1f}   at most {MOST_QUERIES_A_CHUNK}")
    return times <= MOST_TIMES and growth <= MOST_GROWTH and a_chunk <= MOST_QUERIES_A_CHUNK


def _rows_of_the_company() -> dict[str, int]:
    """What the rows lean on: a rate card, a service to wash, one to take chalk off, a fitted model."""
    from tests import factories as make

    make.set_company(reminder_lead_days=LEAD_DAYS)
    make.make_card(on=date(2026, 1, 1))
    forecast = make.make_forecast()
    wash = make.make_service(code="yearly", name="Yearly wash", interval_months=12)
    return {"model": forecast.model_id, "wash": wash.pk}


def _fill(low: int, high: int, known: dict[str, int]) -> None:
    from django.db import connection

    with connection.cursor() as cursor:
        for statement in FILL:
            cursor.execute(statement, {"low": low, "high": high, **known})
        cursor.execute("ANALYZE")


def _measure(places: int) -> Measured:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from jobs.reminders.listing import DueSheet

    def look() -> DueSheet:
        sheet = DueSheet(today=TODAY)
        assert len(sheet[:50]) == 50
        return sheet

    tracemalloc.start()
    with CaptureQueriesContext(connection) as queries:
        lines = len(look())
    count = len(queries)
    tracemalloc.reset_peak()
    before = tracemalloc.get_traced_memory()[0]
    look()
    peak = tracemalloc.get_traced_memory()[1] - before
    tracemalloc.stop()
    found = Measured(lines, count, _best(look), _best(_plain), peak)
    print(
        f"{places * WALLS_EACH:>9,} walls: {lines:,} lines in {found.seconds:.1f} s, the join "
        f"{found.join_seconds:.1f} s; {count} queries, peak {peak / 1e6:.1f} MB"
    )
    return found


def _plain() -> None:
    """Every row of the three statements, two thousand at a time, thrown away."""
    from django.db import connection, transaction

    last = TODAY + timedelta(days=LEAD_DAYS)
    with transaction.atomic():
        for number, statement in enumerate(PLAIN):
            with connection.connection.cursor(f"plain{number}") as cursor:
                cursor.itersize = 2_000
                cursor.execute(statement, {"last": last})
                for _row in cursor:
                    pass


def _best(work: Callable[[], Any]) -> float:
    """The least of a few runs, in seconds: other programs on the machine only ever add."""
    seconds = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - began)
    return min(seconds)


if __name__ == "__main__":
    main()
