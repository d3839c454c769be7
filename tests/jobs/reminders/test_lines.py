"""The list that the database makes is the one that the rule makes of each property by itself, on random companies."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
from django.db import connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.chalking.services import chalk_setting_update
from jobs.reminders.domain.choosing import Person, urgency
from jobs.reminders.expected import basis_get
from jobs.reminders.line_sql import by_urgency, counts_sql
from jobs.reminders.lines import Condition, line_items, question
from jobs.reminders.listing import DueSheet
from jobs.reminders.models import DueHold, HeldBack, InboundText, Reminder, TextRead
from jobs.reminders.narrowing import NEVER, DueWish
from jobs.reminders.selectors import DueItem, due_list
from jobs.work.models import Visit, VisitLine
from pricing.catalogue.models import Rate, RateCard
from shared.company.selectors import company_get
from shared.outbox.models import BlockedAddress
from tests import factories as make

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 1)
ZONE = "America/New_York"
EMAILS = ("", "one@example.com", "One@Example.com", "two@example.com")
PHONES = ("", "+15555550101", "+15555550102")
CODES = ("wash", "removal", "coating", "gutters")

few = st.integers(0, 3)
days = st.integers(-400, 60).map(lambda number: TODAY + timedelta(days=number))
near = st.integers(-10, 45).map(lambda number: TODAY + timedelta(days=number))
# Around local midnight, where a day in UTC and one in New York are not the same.
moments = st.builds(
    lambda number, hour: datetime.combine(TODAY + timedelta(days=number), time(hour), UTC),
    st.integers(-120, 0), st.sampled_from([1, 3, 5, 16]),
)  # fmt: skip
OWNERS = st.lists(st.tuples(st.sampled_from(EMAILS), st.sampled_from(PHONES)), min_size=1, max_size=3)
AREAS = st.none() | st.integers(0, 2) | st.just(2_000)
PLACES = st.lists(st.tuples(few, st.integers(1, 4), st.tuples(AREAS, AREAS)), min_size=1, max_size=4)
CONSENTS = st.lists(
    st.tuples(
        few, st.sampled_from(["email", "text"]), st.sampled_from(["reminder", "all", "service"]), st.booleans(), moments
    ),
    max_size=5,
)
INTERVALS = st.lists(
    st.tuples(few, st.sampled_from(CODES), st.none() | near, st.none() | days, st.sampled_from([1, 12])),
    max_size=6, unique_by=lambda row: row[:2],
)  # fmt: skip
READINGS = st.lists(st.tuples(few, few, st.sampled_from([1, 1.5, 2, 2.5, 4]), days), max_size=6)
FORECASTS = st.lists(
    st.tuples(
        few, few, near, st.sampled_from(["", "too_wide"]), st.sampled_from([4, 5]), days, st.none() | days,
        st.sampled_from([None, 1, 1.5, 2]),
    ),
    max_size=6, unique_by=lambda row: row[:2],
)  # fmt: skip
JOBS = st.lists(
    st.tuples(few, st.sampled_from(CODES), st.sampled_from(["agreed", "planned", "on_site", "done", "lead"])),
    max_size=3,
)
# Property, service, day, minutes booked, the wall that the line names (9: none, the whole house), whether the visit's
# line knows its job line.
VISITS = st.lists(
    st.tuples(
        few, st.sampled_from(CODES), days, st.none() | st.integers(0, 300), st.sampled_from([0, 1, 9]), st.booleans()
    ),
    max_size=4,
)
COMPANIES = st.fixed_dictionaries(
    {
        "owners": OWNERS,
        "places": PLACES,
        "consents": CONSENTS,
        "intervals": INTERVALS,
        "readings": READINGS,
        "forecasts": FORECASTS,
        "jobs": JOBS,
        "visits": VISITS,
        "closed": st.sets(st.sampled_from([("email", "one@example.com"), ("text", PHONES[1])]), max_size=2),
        "texts": st.lists(
            st.tuples(st.sampled_from(PHONES[1:]), st.sampled_from(["unclear", "other"]), st.booleans(), moments),
            max_size=2,
        ),
        "holds": st.dictionaries(few, st.none() | near, max_size=2),
        "held_back": st.lists(st.tuples(few, moments), max_size=2),
        "told": st.lists(
            st.tuples(
                few, st.sampled_from(["sent", "failed", "waiting"]), st.sampled_from([*CODES, "chalk", ""]), moments
            ),
            max_size=3,
        ),
        "offered": st.sets(st.sampled_from(CODES)),
        "due_when": st.sampled_from(["early", "middle"]),
        "limit": st.sampled_from([4, 5]),
    }
)
WISHES = st.builds(
    DueWish,
    state=st.sampled_from(["", "ready", "waits", "reminded", "no_channel"]),
    kind=st.sampled_from(["", "wash", "chalk"]),
    channel=st.sampled_from(["", "email", "text"]),
    search=st.sampled_from(["", "read", "STREET 1", "May 2026"]),
    silent_days=st.sampled_from([None, NEVER, 0, 60]),
    price_from_cents=st.none() | st.integers(0, 60_000),
    minutes_up_to=st.none() | st.integers(0, 300),
    chance_from_percent=st.none() | st.integers(10, 16),
)


def build(rows: dict[str, Any]) -> None:
    """A company in the database. Numbers beyond a list begin again at its front."""
    make.set_company(timezone=ZONE, reminder_lead_days=30, reminder_gap_days=60)
    chalk_setting_update(actor=None, due_when=rows["due_when"], limit_half_steps=rows["limit"])
    services = _services(rows["offered"])
    owners = [make.make_customer(email=email, phone_e164=phone) for email, phone in rows["owners"]]
    places = [
        make.make_property(customer=_at(owners, number), street=f"Street {at}", storeys=storeys)
        for at, (number, storeys, _areas) in enumerate(rows["places"])
    ]
    walls = {
        (place.pk, number): make.make_wall(property=place, name=f"wall {number}", area_sqft=area)
        for place, (_owner, _storeys, areas) in zip(places, rows["places"], strict=True)
        for number, area in enumerate(areas)
    }
    for number, channel, purpose, given_, at in rows["consents"]:
        make.make_consent(customer=_at(owners, number), channel=channel, purpose=purpose, given=given_, at=at)
    _due_rows(rows, places, walls, services)
    _work_rows(rows, places, walls, services)
    _obstacle_rows(rows, places)


def _services(offered: set[str]) -> dict[str, Any]:
    """Two of the four take chalk off, and one is on no card."""
    found = {
        code: make.make_service(code=code, removes_chalk=code in ("removal", "coating"), is_offered=code in offered)
        for code in CODES
    }
    card = RateCard.objects.create(effective_from=date(2026, 1, 1))
    for code, price in (("wash", 25_00), ("removal", 60_00)):
        Rate.objects.create(
            card=card, service=found[code], price_cents_per_100_units=price, minimum_price_cents=150_00,
            setup_minutes=20, units_per_crew_hour=1_000, units_per_crew_hour_high=700,
        )  # fmt: skip
    return found


def _at(some: list[Any], number: int) -> Any:
    return some[number % len(some)]


def _due_rows(rows: dict[str, Any], places: list[Any], walls: dict[tuple[int, int], Any], services: Any) -> None:
    seen: set[Any] = set()
    for number, code, next_due_on, last_done_on, months in rows["intervals"]:
        place = _at(places, number)
        if (place.pk, code) not in seen:
            make.make_interval(
                property=place, service=services[code], next_due_on=next_due_on, last_done_on=last_done_on,
                interval_months=months,
            )  # fmt: skip
        seen.add((place.pk, code))
    for number, which, passes_on, refusal, limit, read_on, since, reading in rows["forecasts"]:
        wall = walls[_at(places, number).pk, which % 2]
        if wall.pk not in seen:
            make.make_forecast(
                wall=wall, refusal=refusal, limit_half_steps=limit, since=since, read_on=read_on, reading=reading,
                early_on=passes_on - timedelta(days=which), middle_on=passes_on, late_on=passes_on + timedelta(days=9),
            )  # fmt: skip
        seen.add(wall.pk)
    for number, which, reading, read_on in rows["readings"]:
        make.make_reading(wall=walls[_at(places, number).pk, which % 2], reading=reading, read_on=read_on)


def _work_rows(rows: dict[str, Any], places: list[Any], walls: dict[tuple[int, int], Any], services: Any) -> None:
    for number, code, state in rows["jobs"]:
        make.make_job(property=_at(places, number), state=state, lines=[{"service": services[code]}])
    for number, code, day, minutes, wall, is_known in rows["visits"]:
        place = _at(places, number)
        job = make.make_job(property=place, state="done", lines=[{"service": services[code]}])
        line = job.lines.get()
        line.walls.set([walls[place.pk, wall]] if wall != 9 else [])
        visit = Visit.objects.create(job=job, work_date=day, on_site_minutes=60, recorded_at=make.MOMENT)
        VisitLine.objects.create(
            visit=visit, service=services[code], job_line=line if is_known else None, minutes=minutes, price_cents=0
        )


def _obstacle_rows(rows: dict[str, Any], places: list[Any]) -> None:
    for channel, address in rows["closed"]:
        BlockedAddress.objects.create(channel=channel, address=address, kind="bounced", since=make.MOMENT)
    for number, (phone, meaning, is_read, at) in enumerate(rows["texts"]):
        text = InboundText.objects.create(event=str(number), sender_e164=phone, body="?", meaning=meaning, at=at)
        if is_read:
            TextRead.objects.create(text=text, at=at)
    for number, until in rows["holds"].items():
        DueHold.objects.update_or_create(
            property=_at(places, number), defaults={"until": until, "reason": "not_now", "at": make.MOMENT}
        )
    for number, (which, at) in enumerate(rows["held_back"]):
        HeldBack.objects.create(
            property=_at(places, which), kind="wash", due_on=TODAY + timedelta(days=number), message_key="", at=at
        )
    _told_rows(rows["told"], places)


def _told_rows(told: list[Any], places: list[Any]) -> None:
    """Reminders of a kind that fell due last year, or (no kind) of something that is on the list now."""
    due = due_list(today=TODAY)
    for number, (which, state, kind, at) in enumerate(told):
        item = due[which % len(due)] if due and not kind else None
        Reminder.objects.get_or_create(
            property_id=item.property_id if item else _at(places, which).pk,
            kind=item.kind if item else kind or "wash",
            due_on=item.due_on if item else date(2025, 1, 1) + timedelta(days=number),
            defaults={"message": make.make_message(state=state), "created_at": at},
        )


@contextmanager
def company_of(rows: dict[str, Any]) -> Iterator[None]:
    """Gone afterwards."""
    with transaction.atomic():
        build(rows)
        yield
        transaction.set_rollback(True)


def admits(wish: DueWish, item: DueItem) -> bool:
    """What each part of the wish means, said plainly of one line."""
    last, least, most = item.last_contact_on, wish.price_from_cents, wish.minutes_up_to
    return all(
        [
            wish.state in ("", item.state),
            wish.kind in ("", item.kind),
            wish.channel in ("", item.channel),
            wish.search.lower() in f"{item.customer_name} {item.address} {item.reason}".lower(),
            last is None
            or wish.silent_days is None
            or (wish.silent_days != NEVER and (TODAY - last).days >= wish.silent_days),
            least is None or (item.price_cents is not None and item.price_cents >= least),
            most is None or item.minutes <= most,
            wish.chance_from_percent is None
            or (item.chance is not None and 100 * item.chance >= wish.chance_from_percent),
        ]
    )


few_examples = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)


@few_examples
@given(COMPANIES)
def test_the_database_finds_what_the_rule_finds(rows: dict[str, Any]) -> None:
    """Every line with every word of it, in the same order, whole and in pages, with the same counts."""
    with company_of(rows):
        expected = due_list(today=TODAY)
        sheet = DueSheet(today=TODAY)
        ready = [item.key for item in expected if item.is_ready]
        assert list(sheet) == expected
        assert [*sheet[:2], *sheet[2:]] == expected
        assert sheet.ready_keys(most=len(expected)) == ready
        assert (len(sheet), sheet.due_count) == (len(expected), len(expected))
        assert (sheet.ready_count, sheet.shown_ready) == (len(ready), len(ready))


@few_examples
@given(COMPANIES, st.lists(WISHES, min_size=1, max_size=4))
def test_the_database_narrows_as_one_would_by_hand(rows: dict[str, Any], wishes: list[DueWish]) -> None:
    """Each wish leaves what it admits, and counts it."""
    with company_of(rows):
        due = due_list(today=TODAY)
        for wish in wishes:
            expected = [item for item in due if admits(wish, item)]
            sheet = DueSheet(today=TODAY, wish=wish)
            assert list(sheet) == expected
            assert (len(sheet), sheet.due_count) == (len(expected), len(due))
            assert sheet.shown_ready == sum(item.is_ready for item in expected)


@few_examples
@given(COMPANIES)
def test_the_database_orders_by_urgency_as_the_rule_does(rows: dict[str, Any]) -> None:
    """Without routes."""
    with company_of(rows):
        items = line_items(question(today=TODAY), Condition(), order=by_urgency(connection.vendor))
        scores = [urgency(_person(item))[0] for item in items]
        assert scores == sorted(scores)


def _person(item: DueItem) -> Person:
    last = item.last_contact_on
    return Person(
        key=item.key,
        group=(item.kind, item.channel),
        minutes=item.minutes,
        overdue_days=(TODAY - item.due_on).days,
        last_contact_days=(TODAY - last).days if last else None,
    )


@pytest.mark.parametrize(("hour", "state"), [(3, "ready"), (6, "reminded")])
def test_a_night_belongs_to_the_company_s_day(hour: int, state: str) -> None:
    """At 3:00 UTC it was the day before in New York: that reminder was written before the wall was read."""
    make.set_company(timezone=ZONE, reminder_lead_days=30, reminder_gap_days=60)
    make.make_service(removes_chalk=True)
    place = make.make_forecast(read_on=date(2026, 3, 1)).wall.property
    written_at = datetime(2026, 3, 1, hour, tzinfo=UTC)
    message = make.make_message(state="sent")
    Reminder.objects.create(
        property=place, kind="chalk", due_on=date(2026, 2, 1), message=message, created_at=written_at
    )
    assert [item.state for item in DueSheet(today=TODAY)] == [state]
    assert list(DueSheet(today=TODAY)) == due_list(today=TODAY)


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL chooses by the size of the tables")
def test_what_is_known_of_a_line_is_searched_by_key() -> None:
    """SQLite reads the whole relation for each line where it cannot compare by an index, which looks the same."""
    make.set_company()
    asked = question(today=TODAY)
    statement = counts_sql("sqlite", wanted="1 = 1", chalk_counts=True, passes_on="middle_on")
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {statement}", asked.parameters())
        steps = [row[-1] for row in cursor.fetchall()]
    for key, known in {
        "property_id": ("told", "chalk_told", "hold"),
        "customer_id": ("contact", "held_back"),
        "address": ("mail", "texts"),
    }.items():
        for name in known:
            (step,) = (each for each in steps if each.startswith((f"SEARCH {name} ", f"SCAN {name} ")))
            assert f"{key}=?" in step


@given(st.integers(1, 4), st.integers(0, 20_000), st.integers(0, 20_000))
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
def test_price_and_minutes_never_fall_when_the_walls_grow(storeys: int, one: int, other: int) -> None:
    """Which the filters by price and hours rest on; with the card that a new company starts from."""
    small, large = sorted((one, other))
    with transaction.atomic():
        make.make_card()
        basis = basis_get(today=TODAY, zone=company_get().timezone)
        for kind in basis.services:
            before, after = basis.card(kind, storeys, small), basis.card(kind, storeys, large)
            assert before.minutes <= after.minutes
            assert (before.price_cents or 0) <= (after.price_cents or 0)
        transaction.set_rollback(True)
