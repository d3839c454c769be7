"""The shortfall's parts over random ledgers, through the database: they add up to the cent and are what they say.

Histories of jobs with several lines, with and without card prices and estimates, sold below and above the card, by
crews of one to four, some of no minutes at all; followed by free return visits of other crews, refunds and corrections.
Each part is summed anew here, entry by entry, by the table of ``pricing/README.md``.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pricing.catalogue.models import HourlyTarget, Service
from pricing.earnings.domain.breakdown import Breakdown
from pricing.earnings.domain.split import Cause
from pricing.earnings.models import EarningEntry
from pricing.earnings.selectors import earnings_report
from pricing.earnings.services import entries_record
from tests.factories import make_service

pytestmark = pytest.mark.django_db
FIRST, UNTIL = date(2026, 1, 5), date(2027, 12, 31)
MINUTES = st.one_of(st.just(0), st.integers(0, 600))
CENTS = st.integers(0, 3_000_00)
SERVICES, CREWS = 3, ("heron", "otter", "")

TIME = {"on_site_minutes": MINUTES, "setup_minutes": st.integers(0, 30), "drive_minutes": MINUTES}
WORK = st.fixed_dictionaries({
    "kind": st.just("work"), "price_cents": CENTS, "card_price_cents": st.none() | CENTS,
    "estimated_minutes": st.none() | MINUTES, "workers": st.integers(1, 4), **TIME,
})  # fmt: skip
CALLBACK = st.fixed_dictionaries({
    "kind": st.just("callback"), "price_cents": st.one_of(st.just(0), CENTS), "workers": st.integers(1, 4),
    "crew_code": st.sampled_from(CREWS), **TIME,
})  # fmt: skip
REFUND = st.fixed_dictionaries({"kind": st.just("refund"), "price_cents": st.integers(-500_00, -1)})
CORRECTION = st.fixed_dictionaries({
    "kind": st.just("correction"), "price_cents": st.integers(-100_00, 100_00), "workers": st.integers(1, 4),
    "on_site_minutes": st.integers(-60, 60), "drive_minutes": st.integers(-20, 20),
})  # fmt: skip


@dataclass(frozen=True)
class JobHistory:
    """A job's day and crew, and its entries with the number of their service: lines first, then what followed."""

    day: date
    crew: str
    entries: tuple[tuple[int, dict[str, Any]], ...]


NUMBER = st.integers(0, SERVICES - 1)
JOBS = st.builds(
    lambda day, crew, lines, later: JobHistory(FIRST + timedelta(days=day), crew, (*lines, *later)),
    st.integers(0, 400),
    st.sampled_from(CREWS),
    st.lists(st.tuples(NUMBER, WORK), min_size=1, max_size=3),
    st.lists(st.tuples(NUMBER, st.one_of(CALLBACK, REFUND, CORRECTION)), max_size=3),
)


def rows_of(jobs: list[JobHistory], services: list[Service]) -> Iterator[EarningEntry]:
    for number, job in enumerate(jobs):
        for place, (service, fields) in enumerate(job.entries):
            facts = {"work_date": job.day + timedelta(days=place), "service": services[service], "job_ref": number}
            yield EarningEntry(**{"crew_code": job.crew, **facts, **fields})


def parts_of(entries: Iterable[EarningEntry], target: int) -> dict[Cause, Fraction]:
    """Each part summed entry by entry, exactly."""
    parts = dict.fromkeys(Cause, Fraction(0))
    for entry in entries:
        on_site = entry.on_site_minutes + entry.setup_minutes
        worth = Fraction(target * entry.workers, 2 * 60)  # of a minute of this crew
        if entry.kind == "callback":
            parts[Cause.CALLBACKS] += worth * (on_site + entry.drive_minutes) - entry.price_cents
            continue
        parts[Cause.DRIVING] += worth * entry.drive_minutes
        if entry.kind == "work":
            card = entry.price_cents if entry.card_price_cents is None else entry.card_price_cents
            estimated = worth * on_site
            if entry.estimated_minutes is not None:
                estimated = Fraction(target * entry.estimated_minutes, 60)
            parts[Cause.CARD] += estimated - card
            parts[Cause.PRICE] += card - entry.price_cents
            parts[Cause.MINUTES] += worth * on_site - estimated
        elif entry.kind == "refund":
            parts[Cause.REFUNDS] -= entry.price_cents
        else:  # a correction counts with the work
            parts[Cause.MINUTES] += worth * on_site
            parts[Cause.PRICE] -= entry.price_cents
    return parts


def groups_of(by: Breakdown, entries: list[EarningEntry], jobs: list[JobHistory]) -> dict[str, list[EarningEntry]]:
    """The entries by the key of the report's groups."""
    found: dict[str, list[EarningEntry]] = defaultdict(list)
    for entry in entries:
        job = jobs[entry.job_ref]
        keys = {Breakdown.SERVICE: entry.service.code, Breakdown.CREW: job.crew, Breakdown.MONTH: f"{job.day:%Y-%m}"}
        found[keys.get(by, "")].append(entry)
    return found


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(jobs=st.lists(JOBS, min_size=1, max_size=6), target=st.integers(1, 500_00))
def test_the_parts_of_a_history_add_up_to_the_cent(jobs: list[JobHistory], target: int) -> None:
    """By each breakdown: parts as summed here, rounded only; whole = hours at the target less money."""
    with transaction.atomic():
        HourlyTarget.objects.create(effective_from=date(2020, 1, 1), target_cents_per_crew_hour=target)
        services = [make_service(code=f"kind-{i}", name=f"Kind {i}") for i in range(SERVICES)]
        entries = list(rows_of(jobs, services))
        entries_record(entries)
        for by in Breakdown:
            check(by, groups_of(by, entries, jobs), target)
        transaction.set_rollback(True)


def check(by: Breakdown, expected: dict[str, list[EarningEntry]], target: int) -> None:
    groups = earnings_report(since=None, until=UNTIL, by=by).groups
    assert {group.sums.key for group in groups} == set(expected)
    for group in groups:
        entries, parts = expected[group.sums.key], parts_of(expected[group.sums.key], target)
        found = dict(group.shortfall.parts)
        for cause in Cause:
            assert abs(found[cause] - parts[cause]) < 1, (by, cause)
        assert sum(found.values()) == group.shortfall.total_cents
        time = sum(
            (e.on_site_minutes + e.setup_minutes + e.drive_minutes) * Fraction(e.workers, 2 * 60) for e in entries
        )
        money = sum(e.price_cents for e in entries)
        assert abs(group.shortfall.total_cents - (target * time - money)) <= Fraction(1, 2)
        hourly = group.shortfall_per_crew_hour
        assert (hourly is None) == (time <= 0)
        assert hourly is None or group.earned is None or hourly.total_cents == target - group.earned.cents
        assert hourly is None or sum(cents for _cause, cents in hourly.parts) == hourly.total_cents
