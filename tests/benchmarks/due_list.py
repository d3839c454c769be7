# ruff: noqa: T201  printing tables is what this program is for
"""The due list of a company with up to a million walls on PostgreSQL, beside the plain SQL join that it rests on.

    WALLDAY_DATABASE_URL=postgres://... python -m tests.benchmarks.due_list [--quick]

Five walls at a property, three of them read and with a forecast; a yearly wash that was done last year at each, a
removal of chalk last year at one of fifty and every four years at one of ten; a third agreed to texts, one of forty
opted out of mail, one of eight was reminded last year.
Rows are made set-based in a database of their own, which is dropped in the end.

The plain join is one statement: the intervals, readings and forecasts that make a property due, with the columns that
their reasons name and the columns of property and owner that a line shows, the earliest first. It knows work that is
coming or was done since, as it must to find what is due. It asks nothing of consent, earlier reminders, areas and
prices, folds no walls into one line, counts nothing and makes no words. Its rows are read one by one through the same
driver and thrown away. Beside it stand three uses of the list, every line complete with all its words and figures:

    page    the counts and the first fifty lines, as the office sees them
    search  the same of the lines in whose words something is found
    whole   every line, one after the other, as the command and a file have them

Times are processor time of this process and of the server's for it, since the clock on the wall shows what else the
machine does: so the server must be on this machine, and it makes every statement in one process, without helpers. Each
use's ratio to the join is the median of a few rounds, in each of which all are run in turn. What a look takes before
the first row, however long the list is, stands beside them as `ahead`: reading the rate card and planning the
statement. With 60,000 walls it is two fifths of the join's time, so `--quick` goes up to 100,000; it is in all
figures. Memory is what Python holds at most while page and whole
are made (tracemalloc). Exits 1 where a target is missed at the largest size.
"""

import argparse
import os
import sys
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from typing import Any

import django
from django.conf import settings

MOST_TIMES, MOST_GROWTH, MOST_QUERIES = 3.0, 1.5, 25
ROUNDS, QUICK_ROUNDS = 3, 5  # the shorter a work, the more the rest of the machine shows in it
TODAY, LEAD_DAYS = date(2026, 6, 1), 30
WALLS, QUICK_WALLS, WALLS_EACH = (60_000, 240_000, 1_000_000), (25_000, 100_000), 5

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
    "SELECT i.property_id, e.code, i.next_due_on AS due_on, i.interval_months AS often, i.last_done_on AS since, "
    f"NULL::numeric AS reading, NULL::date AS early_on, NULL::date AS late_on, {OWNER} "
    "FROM work_serviceinterval i JOIN catalogue_service e ON e.id = i.service_id "
    f"{JOIN.format(place='i.property_id')} WHERE i.next_due_on <= %(last)s AND e.is_offered "
    f"AND {COMING.format(place='i.property_id', which='l.service_id = i.service_id')} UNION ALL "
    f"SELECT w.property_id, w.name, r.read_on + 90, w.facing_degrees, r.read_on, r.reading, NULL, NULL, {OWNER} "
    "FROM walkthroughs_chalkreading r "
    f"JOIN customers_wall w ON w.id = r.wall_id {JOIN.format(place='w.property_id')} WHERE r.reading >= 2 "
    "AND r.read_on + 90 <= %(last)s AND NOT EXISTS (SELECT 1 FROM walkthroughs_chalkreading n "
    "WHERE n.wall_id = r.wall_id AND (n.read_on > r.read_on OR n.read_on = r.read_on AND n.id > r.id)) "
    f"AND {REMOVED.format(since='r.read_on')} AND {COMING.format(place='w.property_id', which='s.removes_chalk')} "
    "UNION ALL SELECT w.property_id, w.name, f.middle_on, w.facing_degrees, f.last_read_on, "
    "(SELECT n.reading FROM walkthroughs_chalkreading n WHERE n.wall_id = w.id ORDER BY n.read_on DESC, n.id DESC "
    f"LIMIT 1), f.early_on, f.late_on, {OWNER} FROM chalking_wallforecast f JOIN customers_wall w ON w.id = f.wall_id "
    f"{JOIN.format(place='w.property_id')} WHERE f.refusal = '' AND NOT f.is_untested "
    "AND f.limit_half_steps = 4 AND f.middle_on <= %(last)s "
    f"AND {REMOVED.format(since='f.since')} AND {COMING.format(place='w.property_id', which='s.removes_chalk')} "
    "ORDER BY due_on, property_id"
)

# `low` and `high` bound the numbers of the properties; a wall's number is five times its property's, and up to four
# more. Remainders of products with primes spread what varies, the same on every run.
FILL = (
    "INSERT INTO customers_customer (id, name, email, phone_e164, language, source, note, created_at) "
    "SELECT n, 'Customer ' || n, CASE WHEN n %% 10 > 0 THEN 'c' || n || '@example.com' ELSE '' END, "
    "CASE WHEN n %% 3 = 0 THEN '+1555' || lpad(n::text, 7, '0') ELSE '' END, 'en', '', '', now() "
    "FROM generate_series(%(low)s::bigint, %(high)s) n",
    "INSERT INTO customers_property (id, customer_id, street, city, region, postal_code, latitude, longitude, storeys, "
    "gate_note, pet_note, note) SELECT n, n, n || ' Sample Street', 'Sampleton', 'OH', '00001', "
    "40 + (n * 31 %% 1000) / 5000.0, -82 + (n * 37 %% 1000) / 5000.0, 1 + n %% 2, '', '', '' "
    "FROM generate_series(%(low)s::bigint, %(high)s) n",
    "INSERT INTO customers_wall (id, property_id, name, kind, material, colour, facing_degrees, area_sqft, storeys, "
    "shade, old_paint) SELECT n, n / 5, 'wall ' || n %% 5, 'face', 'vinyl', '', "
    "n %% 4 * 90, 300 + (n %% 997) * (n %% 997) %% 401, 1, 'open', 'unknown' "
    "FROM generate_series(%(low)s::bigint * 5, %(high)s * 5 + 4) n",
    "INSERT INTO walkthroughs_chalkreading (wall_id, read_on, reading, method, scale, note) "
    "SELECT n, date '2025-01-01' + (n * 7919 %% 400)::int, (n * 104729 %% 26 / 25) * 2 + (n %% 3) * 0.5, "
    "'finger_test', 'field-0-5', '' FROM generate_series(%(low)s::bigint * 5, %(high)s * 5 + 4) n WHERE n %% 5 < 3",
    "INSERT INTO chalking_wallforecast (wall_id, model_id, made_at, limit_half_steps, refusal, is_untested, since, "
    "since_what, dose_by_month, early_on, middle_on, late_on, reading_count, last_read_on) SELECT n, %(model)s, now(), "
    "4, '', false, date '2020-01-01', 'unknown', '[]', d - 200, d, d + 400, 1, "
    "date '2025-01-01' + (n * 7919 %% 400)::int "
    "FROM generate_series(%(low)s::bigint * 5, %(high)s * 5 + 4) n, "
    "LATERAL (SELECT date '2026-04-01' + (n * 15485863 %% 3000)::int AS d) days WHERE n %% 5 < 3",
    "INSERT INTO work_serviceinterval (property_id, service_id, interval_months, last_done_on, next_due_on) "
    "SELECT n, %(wash)s, 12, d - 365, d FROM generate_series(%(low)s::bigint, %(high)s) n, "
    "LATERAL (SELECT date '2026-04-15' + (n * 7907 %% 365)::int AS d) days",
    "INSERT INTO work_serviceinterval (property_id, service_id, interval_months, last_done_on, next_due_on) "
    "SELECT n, %(removal)s, 48, d - 1461, d FROM generate_series(%(low)s::bigint, %(high)s) n, "
    "LATERAL (SELECT date '2026-04-15' + (n * 6271 %% 1461)::int AS d) days WHERE n %% 10 = 3",
    "INSERT INTO work_job (id, property_id, state, source, discount_cents, note, created_at, version) "
    "SELECT n, n, 'done', '', 0, '', timestamptz '2025-05-01', 1 "
    "FROM generate_series(%(low)s::bigint, %(high)s) n",
    "INSERT INTO work_jobline (id, job_id, service_id, quantity, price_cents, materials_cents, estimated_minutes, "
    "note) SELECT n, n, CASE WHEN n %% 50 = 7 THEN %(removal)s ELSE %(wash)s END, 1, 40000, 0, 90, '' "
    "FROM generate_series(%(low)s::bigint, %(high)s) n",
    "INSERT INTO work_visit (id, job_id, work_date, crew_code, workers, on_site_minutes, drive_minutes, drive_metres, "
    "note, recorded_at) SELECT n, n, date '2025-04-15' + (n * 7907 %% 365)::int, '', 2, 90, 0, 0, '', now() "
    "FROM generate_series(%(low)s::bigint, %(high)s) n",
    "INSERT INTO work_visitline (visit_id, service_id, job_line_id, minutes, price_cents, materials_cents) "
    "SELECT n, CASE WHEN n %% 50 = 7 THEN %(removal)s ELSE %(wash)s END, n, 60 + n %% 60, 40000, 0 "
    "FROM generate_series(%(low)s::bigint, %(high)s) n",
    "INSERT INTO customers_consent (customer_id, channel, purpose, given, wording, source, at) "
    "SELECT n, CASE WHEN n %% 3 = 0 THEN 'text' ELSE 'email' END, 'reminder', n %% 3 = 0, '', 'call', now() "
    "FROM generate_series(%(low)s::bigint, %(high)s) n WHERE n %% 3 = 0 OR n %% 40 = 1",
    "INSERT INTO outbox_message (id, dedupe_key, idempotency_key, purpose, channel, recipient, recipient_name, "
    "language, subject, body, headers, state, quiet_zone, is_promotion, attempts, created_at, provider_reference, "
    "problem) SELECT n, n, gen_random_uuid(), 'reminder', 'email', 'c' || n || '@example.com', '', 'en', '', '', '{}', "
    "'sent', '', true, 1, timestamptz '2025-04-20', '', '' FROM generate_series(%(low)s::bigint, %(high)s) n "
    "WHERE n %% 8 = 0",
    "INSERT INTO reminders_reminder (property_id, kind, due_on, reason, cause, message_id, was_drawn, created_at) "
    "SELECT n, 'yearly', date '2025-05-01', '', '{}', n, false, timestamptz '2025-04-20' "
    "FROM generate_series(%(low)s::bigint, %(high)s) n WHERE n %% 8 = 0",
)
FIRST = 1_000  # properties of the benchmark are numbered from here


@dataclass(frozen=True)
class Measured:
    """Seconds are the least of the rounds; how many times the join a use takes is the median of the rounds' ratios."""

    walls: int
    lines: int
    join_seconds: float
    ahead_seconds: float
    page_times: float
    search_times: float
    whole_times: float
    queries: int
    peak_bytes: int


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--quick", action="store_true", help=f"up to {QUICK_WALLS[-1]:,} walls instead of {WALLS[-1]:,}"
    )
    sizes = QUICK_WALLS if parser.parse_args().quick else WALLS
    if not os.environ.get("WALLDAY_DATABASE_URL", "").startswith("postgres"):
        sys.exit("Set WALLDAY_DATABASE_URL to a PostgreSQL server; a database of its own is made there and dropped.")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.test")
    django.setup()
    sys.exit(0 if _in_own_database(sizes) else 1)


def _in_own_database(sizes: tuple[int, ...]) -> bool:
    from django.apps import apps
    from django.test.utils import setup_databases, teardown_databases

    settings.MIGRATION_MODULES = dict.fromkeys(app.label for app in apps.get_app_configs())
    settings.DATABASES["default"]["TEST"]["NAME"] = "wallday_due_list_benchmark"
    made = setup_databases(verbosity=0, interactive=False)
    try:
        return _run(sizes)
    finally:
        teardown_databases(made, verbosity=0)


def _run(sizes: tuple[int, ...]) -> bool:
    known = _rows_of_the_company()
    print("    walls   lines    join   ahead  page/join  search/join  whole/join  queries  peak")
    found, low = [], FIRST
    for walls in sizes:
        _fill(low, FIRST + walls // WALLS_EACH - 1, known)
        low = FIRST + walls // WALLS_EACH
        found.append(_measure(walls))
    return _is_met(found)


def _is_met(found: list[Measured]) -> bool:
    small, large = found[0], found[-1]
    times = max(large.whole_times, large.page_times)
    growth = large.peak_bytes / small.peak_bytes
    print(f"of the plain join's time            {times:8.2f}   at most {MOST_TIMES}")
    print(f"memory for {large.walls / small.walls:3.0f} times as much       {growth:8.2f}   at most {MOST_GROWTH}")
    print(f"queries, however long the list      {large.queries:8d}   at most {MOST_QUERIES}")
    return times <= MOST_TIMES and growth <= MOST_GROWTH and large.queries <= MOST_QUERIES


def _rows_of_the_company() -> dict[str, int]:
    """What the rows lean on: a rate card, a service to wash, one to take chalk off, a fitted model."""
    from pricing.catalogue.models import Rate, RateCard, Service
    from tests import factories as make

    make.set_company(reminder_lead_days=LEAD_DAYS)
    make.make_card(on=date(2026, 1, 1))
    forecast = make.make_forecast()
    wash = make.make_service(code="yearly", name="Yearly wash", interval_months=12)
    Rate.objects.create(
        card=RateCard.objects.get(), service=wash, price_cents_per_100_units=25_00, minimum_price_cents=150_00,
        setup_minutes=20, units_per_crew_hour=1_000, units_per_crew_hour_high=700,
    )  # fmt: skip
    removal = Service.objects.filter(removes_chalk=True).first()
    assert removal is not None
    return {"model": forecast.model_id, "wash": wash.pk, "removal": removal.pk}


def _fill(low: int, high: int, known: dict[str, int]) -> None:
    from django.db import connection

    with connection.cursor() as cursor:
        for statement in FILL:
            cursor.execute(statement, {"low": low, "high": high, **known})
        cursor.execute("VACUUM ANALYZE")


def _measure(walls: int) -> Measured:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as queries:
        lines = _page() and _whole()
    tracemalloc.start()
    _page()
    _whole()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    join, ahead, *uses = _seconds(
        QUICK_ROUNDS if walls <= QUICK_WALLS[-1] else ROUNDS, _plain, _ahead, _page, _search, _whole
    )
    times = [median(mine / base for mine, base in zip(use, join, strict=True)) for use in uses]
    found = Measured(walls, lines, min(join), min(ahead), *times, len(queries), peak)
    print(
        f"{walls:>9,} {lines:>7,} {found.join_seconds:>6.3f}s {found.ahead_seconds:>6.3f}s {found.page_times:>9.2f} "
        f"{found.search_times:>12.2f} {found.whole_times:>11.2f} {found.queries:>8} {peak / 1e6:>4.1f} MB",
        flush=True,
    )
    return found


def _page() -> int:
    """The counts and the first fifty lines."""
    from jobs.reminders.listing import DueSheet

    sheet = DueSheet(today=TODAY)
    assert len(sheet[:50]) == 50
    return sheet.due_count + sheet.ready_count + len(sheet)


def _search() -> int:
    """The counts and the first fifty lines of those that name a street; the search looks at every line."""
    from jobs.reminders.listing import DueSheet
    from jobs.reminders.narrowing import DueWish

    sheet = DueSheet(today=TODAY, wish=DueWish(search="77 sample street"))
    return sheet.due_count + sheet.ready_count + len(sheet) + len(sheet[:50])


def _whole() -> int:
    """Every line, made and thrown away."""
    from jobs.reminders.listing import DueSheet

    return sum(1 for _item in DueSheet(today=TODAY))


def _ahead() -> int:
    """No line at all, but for all that goes before."""
    from jobs.reminders.lines import Condition, line_items, question

    return len(list(line_items(question(today=TODAY), Condition(), most=0)))


def _plain() -> int:
    """Every row of the join, five hundred at a time, thrown away."""
    from django.db import connection

    with connection.chunked_cursor() as cursor:
        cursor.execute(PLAIN, {"last": TODAY + timedelta(days=LEAD_DAYS)})
        rows = 0
        while some := cursor.fetchmany(500):
            rows += len(some)
    return rows


def _seconds(rounds: int, *works: Callable[[], Any]) -> list[list[float]]:
    """Of each work what it took in each round. In a round they come one after the other, so that what else the machine
    does slows all of them alike."""
    from tests.benchmarks.processor import answer_alone, seconds_used

    answer_alone()
    seconds: list[list[float]] = [[] for _work in works]
    for _ in range(rounds):
        for mine, work in zip(seconds, works, strict=True):
            began = seconds_used()
            work()
            mine.append(seconds_used() - began)
    return seconds


if __name__ == "__main__":
    main()
