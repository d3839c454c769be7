# ruff: noqa: T201  printing tables is what this program is for
"""Fifty thousand messages due at nine, on the days before the clocks change, through the real dispatcher.

    [WALLDAY_DATABASE_URL=postgres://...] python -m tests.benchmarks.outbox_morning [--quick] [--messages N]

Reminders by mail and by text to people in five places of four time zones, Arizona among them, which keeps its clocks;
with them a few notes that are late by early afternoon. The schedule's rows, ticks, tasks, guards and claims are the
product's own; the clock is simulated and the gateway takes a moment for each message. Each place's hours are judged
by the zone that the scenario names, not by the one that the product found. `--quick` stops sending until the evening,
so that a few hundred messages meet the night as well. On SQLite, or in a database of its own on PostgreSQL. Exits 1
where a promise was broken or a target is missed.
"""

import argparse
import logging
import os
import random
import statistics
import sys
import tracemalloc
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from unittest import mock
from zoneinfo import ZoneInfo

import django
from django.conf import settings

if TYPE_CHECKING:
    from shared.outbox.models import Message

# Latitude and longitude inside each zone, away from its edges.
PLACES = {
    "America/New_York": (40.0, -76.0),
    "America/Chicago": (41.5, -93.5),
    "America/Denver": (39.5, -105.5),
    "America/Phoenix": (33.5, -112.5),
    "America/Los_Angeles": (36.5, -119.5),
}
OFFICE = "America/New_York"
NIGHTS = {"clocks go forward": date(2026, 3, 7), "clocks go back": date(2026, 10, 31)}  # the day before
MINUTE = timedelta(minutes=1)
IDLE = timedelta(minutes=5)  # where nothing may go, not every minute is looked at
NEVER = datetime.max.replace(tzinfo=UTC)
WARM_MINUTES = 4
NOTE_EVERY, OPT_OUT_EVERY = 50, 80
NOTES_LATE_AT = 14  # o'clock of the office
AT_ONCE = 2_000
ENOUGH_TO_TIME = 2_000  # a short backlog shows only what else the machine does
LEAST_PACE_USED, MOST_SLOWDOWN, MOST_MEGABYTES = 0.95, 2.0, 2.0


@dataclass(frozen=True)
class Size:
    messages: int
    mails_per_minute: int
    texts_per_minute: int
    stopped_until: int  # minutes after midnight of the office

    def pace(self, channel: str) -> int:
        return self.mails_per_minute if channel == "email" else self.texts_per_minute


# The texts of the two zones that open first take longer than their day: all five places still wait when night comes.
LONG = Size(50_000, 30, 12, 9 * 60)
QUICK = Size(300, 30, 4, 20 * 60 + 50)


@dataclass(frozen=True)
class Handed:
    at: datetime
    message_id: int
    channel: str
    recipient: str


@dataclass(frozen=True)
class Batch:
    """A simulated minute in which something left: how many messages, in how many real seconds and queries."""

    claims: int
    seconds: float  # of the processor
    queries: int


@dataclass
class Night:
    """The simulated world of one run, and what it saw."""

    size: Size
    day: date
    dice: random.Random
    now: datetime
    zone_of: dict[str, str] = field(default_factory=dict)  # by recipient
    opted_out: dict[str, datetime] = field(default_factory=dict)
    handed: list[Handed] = field(default_factory=list)
    tasks: list[str] = field(default_factory=list)
    batches: list[Batch] = field(default_factory=list)
    queries: int = 0
    peaks: list[int] = field(default_factory=list)

    def read(self) -> datetime:
        return self.now

    def wait(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)

    def deliver(self, message: "Message") -> str:
        """The stand-in gateway: takes every message, after up to a fifth of a second."""
        self.handed.append(Handed(self.now, message.pk, message.channel, message.recipient))
        self.now += timedelta(milliseconds=self.dice.randint(5, 200))
        return f"taken-{message.pk}"

    def count(self, execute: Callable[..., Any], *rest: Any) -> Any:
        """A wrapper of the database's, which counts."""
        self.queries += 1
        return execute(*rest)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="a few hundred messages, under 40 seconds")
    parser.add_argument("--messages", type=int, help=f"so many instead of {LONG.messages:,}")
    parser.add_argument("--seed", type=int, default=1, help="of the gateway's and the clock's dice")
    arguments = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.test")
    django.setup()
    logging.disable(logging.INFO)
    size = QUICK if arguments.quick else LONG
    size = replace(size, messages=arguments.messages or size.messages)
    return 0 if _in_own_database(size, arguments.seed) else 1


def _in_own_database(size: Size, seed: int) -> bool:
    from django.apps import apps
    from django.db import connection
    from django.test.utils import setup_databases, teardown_databases

    settings.MIGRATION_MODULES = dict.fromkeys(app.label for app in apps.get_app_configs())
    if connection.vendor == "postgresql":
        settings.DATABASES["default"]["TEST"]["NAME"] = "wallday_outbox_morning"
    made = setup_databases(verbosity=0, interactive=False)
    try:
        kept = [_one_night(name, day, size, seed) for name, day in NIGHTS.items()]  # both, whatever came of the first
        return all(kept)
    finally:
        teardown_databases(made, verbosity=0)


def _one_night(name: str, day: date, size: Size, seed: int) -> bool:
    nine = datetime(day.year, day.month, day.day, 9, tzinfo=ZoneInfo(OFFICE)).astimezone(UTC)
    night = Night(size, day, random.Random(seed), nine)
    _empty_the_tables()
    _write_all(night)
    _run(night)
    return _report(name, night)


# --- the company and its messages ---


def _empty_the_tables() -> None:
    from django.core.management import call_command

    call_command("flush", verbosity=0, interactive=False)


def _write_all(night: Night) -> None:
    """Rows as `message_queue` and `reminders_queue` write them, many at once."""
    from shared.background.services import schedule_ensure
    from shared.outbox.services import sending_limits_set, sending_switch_set
    from tests import factories as make

    size = night.size
    make.set_company(timezone=OFFICE, country="US")
    sending_limits_set(actor=None, mails_per_minute=size.mails_per_minute, texts_per_minute=size.texts_per_minute)
    schedule_ensure(task="outbox.dispatch", every_minutes=1, now=night.now)
    if size.stopped_until > 9 * 60:
        sending_switch_set(is_on=False, reason="a wrong price", actor=None, now=night.now)
    for first in range(0, size.messages, AT_ONCE):
        _write_some(night, range(first, min(first + AT_ONCE, size.messages)))


def _write_some(night: Night, numbers: Sequence[int]) -> None:
    from jobs.customers.models import Consent, Customer, Property
    from jobs.reminders.models import Reminder
    from shared.outbox.models import Message

    customers = Customer.objects.bulk_create(_customer(night, number) for number in numbers)
    Consent.objects.bulk_create(
        Consent(customer=customer, channel=_channel(number), purpose="all", given=True, source="call", at=night.now)
        for number, customer in zip(numbers, customers, strict=True)
    )
    places = Property.objects.bulk_create(
        _property(number, customer) for number, customer in zip(numbers, customers, strict=True)
    )
    messages = Message.objects.bulk_create(
        _message(night, number, place) for number, place in zip(numbers, places, strict=True)
    )
    Reminder.objects.bulk_create(
        Reminder(
            property=place, kind="house_wash", due_on=night.day, reason="yearly", message=message, created_at=night.now
        )
        for place, message in zip(places, messages, strict=True)
        if message.purpose == "reminder"
    )


def _channel(number: int) -> str:
    return "text" if number % 2 else "email"


def _customer(night: Night, number: int) -> Any:
    from jobs.customers.models import Customer

    address = {"phone_e164": f"+1555{5_500_000 + number}"} if number % 2 else {"email": f"Person{number}@example.com"}
    customer = Customer(name=f"Person {number}", created_at=night.now, **address)
    night.zone_of[customer.phone_e164 or customer.email] = list(PLACES)[number // 2 % len(PLACES)]
    return customer


def _property(number: int, customer: Any) -> Any:
    from jobs.customers.models import Property

    latitude, longitude = list(PLACES.values())[number // 2 % len(PLACES)]
    street = f"{number} Sample Street"
    return Property(customer=customer, street=street, latitude=latitude, longitude=longitude)


def _message(night: Night, number: int, place: Any) -> "Message":
    from jobs.reminders.services import LATE_AFTER
    from shared.outbox.domain.quiet_hours import next_open
    from shared.outbox.models import Message
    from shared.zones import zone_at

    is_note = number % NOTE_EVERY >= NOTE_EVERY - 2
    zone = zone_at(place.latitude, place.longitude)
    opens = next_open(night.now, zone)
    late = datetime(night.day.year, night.day.month, night.day.day, NOTES_LATE_AT, tzinfo=ZoneInfo(OFFICE))
    return Message(
        dedupe_key=f"{night.day}:{number}",
        channel=_channel(number),
        purpose="note" if is_note else "reminder",
        recipient=place.customer.phone_e164 or place.customer.email,
        subject="A subject",
        body="A body.",
        quiet_zone=zone,
        is_promotion=not is_note,
        not_before=opens if opens > night.now else None,
        not_after=late.astimezone(UTC) if is_note else night.now + LATE_AFTER,
        created_at=night.now,
    )


# --- the run ---


def _run(night: Night) -> None:
    from django.db import connection

    from shared.background import services as background
    from shared.outbox import dispatcher
    from shared.outbox.models import Message
    from shared.outbox.services import sending_switch_set

    release = night.now + MINUTE * (night.size.stopped_until - 9 * 60)
    change_of_mind = [night.now + 3 * 60 * MINUTE, night.now + 12 * 60 * MINUTE, NEVER]
    with ExitStack() as stack:
        stack.enter_context(mock.patch.object(dispatcher, "deliver", night.deliver))
        stack.enter_context(mock.patch("shared.clock.now", night.read))
        stack.enter_context(mock.patch("shared.outbox.tasks.sleep", night.wait))
        in_turn = {"inline": lambda name, _ids: night.tasks.append(name)}
        stack.enter_context(mock.patch.object(background, "_BACKENDS", in_turn))
        stack.enter_context(connection.execute_wrapper(night.count))
        minute = night.now
        while Message.objects.filter(state="waiting").exists():
            # Beat is punctual; the worker takes a moment longer or shorter to begin.
            night.now = max(night.now, minute + timedelta(milliseconds=night.dice.randint(0, 900)))
            if minute >= release:
                sending_switch_set(is_on=True, reason="mended", actor=None, now=night.now)
                release = NEVER
            if minute >= change_of_mind[0]:
                _some_opt_out(night)
                change_of_mind.pop(0)
            minute += MINUTE if _tick(night) else IDLE


def _tick(night: Night) -> bool:
    """What the clock starts, and what those tasks start again, one after the other as a worker does them.

    Returns whether something left."""
    from shared.background.services import due_schedules_enqueue, run_task
    from tests.benchmarks.processor import seconds_used

    is_watched = _is_watched(night)
    claimed, began, asked = len(night.handed), seconds_used(), night.queries
    if is_watched:
        tracemalloc.start()
    due_schedules_enqueue(now=night.now)
    while night.tasks:
        run_task(night.tasks.pop(0), {})
    seconds, claims = seconds_used() - began, len(night.handed) - claimed
    if is_watched:
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        if claims:
            night.peaks.append(peak)
    elif claims:
        night.batches.append(Batch(claims, seconds, night.queries - asked))
    return claims > 0


def _is_watched(night: Night) -> bool:
    """One minute early on, when everything that is kept for later has been loaded."""
    return not night.peaks and len(night.batches) >= WARM_MINUTES


def _some_opt_out(night: Night) -> None:
    """A few of those who still wait, and of those who do not."""
    from jobs.customers.models import Customer
    from jobs.reminders.services import opt_out_record

    everybody = list(night.zone_of)
    for recipient in night.dice.sample(everybody, len(everybody) // OPT_OUT_EVERY):
        channel = "email" if "@" in recipient else "text"
        field_name = "email" if channel == "email" else "phone_e164"
        customer = Customer.objects.get(**{field_name: recipient})
        opt_out_record(
            customer=customer, channel=channel, everything=True, wording="STOP", source="reply", now=night.now
        )
        night.opted_out.setdefault(recipient, night.now)


# --- what came of it ---


def _report(name: str, night: Night) -> bool:
    broken = _broken(night)
    figures = _figures(night)
    print(f"\n{name}: {night.size.messages:,} messages, {len(night.handed):,} handed over, ", end="")
    print(f"{len(night.opted_out)} people opted out, {_last_hour(night)}")
    print("\n| what must not be (target: 0 of each) | number |\n|---|---|")
    for promise, found in broken.items():
        print(f"| {promise} | {len(found)} |")
    print("\n| figure | | target |\n|---|---|---|")
    for figure, (value, limit, is_at_least) in figures.items():
        print(f"| {figure} | {value:,.2f} | {'at least' if is_at_least else 'at most'} {limit} |")
    print(f"| queries for 1,000 messages | {1_000 * _queries_each(night.batches):,.0f} | |")
    print(f"| seconds for 1,000 messages | {1_000 * _seconds_each(night.batches):.1f} | |")
    missed = [
        figure for figure, (value, limit, least) in figures.items() if (value < limit if least else value > limit)
    ]
    for each in [*missed, *(promise for promise, found in broken.items() if found)]:
        print(f"missed: {each}")
    return not missed and not any(broken.values())


def _last_hour(night: Night) -> str:
    took = night.handed[-1].at - night.handed[0].at
    return f"the last one {took / timedelta(hours=1):.1f} hours after the first"


def _broken(night: Night) -> dict[str, list[Any]]:
    from shared.outbox.models import Message

    rows = {
        pk: (recipient, state, not_after, finished)
        for pk, recipient, state, not_after, finished in Message.objects.values_list(
            "pk", "recipient", "state", "not_after", "finished_at"
        )
    }
    times = Counter(each.message_id for each in night.handed)
    dropped = {pk for pk, row in rows.items() if row[1] == "dropped"}
    return {
        "lost: neither handed over nor dropped": [pk for pk in rows if not times[pk] and pk not in dropped],
        "handed over twice": [pk for pk, number in times.items() if number > 1],
        "handed over outside 8:00 to 21:00 of the place": [each for each in night.handed if not _is_day(night, each)],
        "more than the pace in any 60 seconds": _too_fast(night),
        "handed over after an opt-out": [
            each for each in night.handed if each.at > night.opted_out.get(each.recipient, each.at)
        ],
        "handed over too late": [each for each in night.handed if each.at > rows[each.message_id][2]],
        "dropped, though nobody opted out and it was not late": [
            pk for pk in dropped if rows[pk][0] not in night.opted_out and rows[pk][3] <= rows[pk][2]
        ],
        "late, though the place's hours and the pace left room": _needlessly_late(night, dropped, rows),
    }


def _is_day(night: Night, each: Handed) -> bool:
    return 8 <= each.at.astimezone(ZoneInfo(night.zone_of[each.recipient])).hour < 21


def _too_fast(night: Night) -> list[datetime]:
    found = []
    for channel in ("email", "text"):
        instants = sorted(each.at for each in night.handed if each.channel == channel)
        ends = (bisect_right(instants, at + MINUTE - timedelta(microseconds=1)) for at in instants)
        most = night.size.pace(channel)
        found += [at for number, (at, end) in enumerate(zip(instants, ends, strict=True)) if end - number > most]
    return found


def _needlessly_late(night: Night, dropped: set[int], rows: dict[int, Any]) -> list[int]:
    """A note that was asked for must not stand in line behind advertising."""
    if night.size.stopped_until > 60 * NOTES_LATE_AT:
        return []
    return [pk for pk in dropped if rows[pk][0] not in night.opted_out]


def _figures(night: Night) -> dict[str, tuple[float, float, bool]]:
    """Value, limit, and whether the limit is the least."""
    tenth = max(4, len(night.batches) // 10)
    early, late = (_lower_quartile(some) for some in (night.batches[:tenth], night.batches[-tenth:]))
    return {
        "share of the pace used while messages were due": (_pace_used(night), LEAST_PACE_USED, True),
        "time of a query, longest against shortest backlog": (early / late, MOST_SLOWDOWN, False),
        "time of a query, last tenth against first": (late / early, MOST_SLOWDOWN, False),
        "memory of a minute at the longest backlog, MB": (night.peaks[0] / 1e6, MOST_MEGABYTES, False),
    }


def _seconds_each(batches: Sequence[Batch]) -> float:
    return sum(batch.seconds for batch in batches) / max(1, sum(batch.claims for batch in batches))


def _queries_each(batches: Sequence[Batch]) -> float:
    return sum(batch.queries for batch in batches) / max(1, sum(batch.claims for batch in batches))


def _lower_quartile(batches: Sequence[Batch]) -> float:
    """Seconds of a query: other programs on the machine weigh less than in the mean, and so do minutes with little."""
    return statistics.quantiles([batch.seconds / batch.queries for batch in batches], n=4)[0]


def _pace_used(night: Night) -> float:
    """Of the texts, in at most two hours after sending began, when more were due in the two first zones than the pace
    allows."""
    texts = [each.at for each in night.handed if each.channel == "text"]
    hours = min(2 * 60, len(texts) // night.size.texts_per_minute // 4)
    early = [at for at in texts if at < texts[0] + hours * MINUTE]
    return len(early) / (hours * night.size.texts_per_minute)


if __name__ == "__main__":
    sys.exit(main())
