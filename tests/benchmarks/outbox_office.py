"""An invented company on the database of the run, and an office that goes on working while everything breaks.

Import it only once Django is set up.
"""

import random
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypeVar

from django.apps import apps
from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, InterfaceError, connection

from jobs.customers.models import Customer
from jobs.reminders.domain.due import due_key
from jobs.reminders.services import opt_out_record, reminders_queue
from shared import clock
from shared.background.models import Schedule
from shared.background.services import due_schedules_enqueue, schedule_ensure
from shared.company.selectors import company_get
from shared.errors import Conflict
from shared.outbox.domain.quiet_hours import is_open
from shared.outbox.models import Message
from shared.outbox.selectors import message_counts, unknown_list
from shared.outbox.services import (
    dispatch_soon,
    message_queue,
    message_send_again,
    sending_limits_set,
    sending_switch_set,
)
from shared.zones import zone_at
from tests import factories as make

T = TypeVar("T")
ASLEEP_EVERY, OPT_OUT_CHANCE = 12, 0.3
AFTERNOON, NIGHT = 14, 1  # o'clock
OPEN_SEA = -48.0  # degrees of latitude at which zones follow the longitude
HARDLY_A_LIMIT = 30_000


@dataclass(frozen=True)
class Person:
    """Somebody who gets exactly one message. `due` is empty where it is a note and no reminder."""

    number: int
    channel: str
    customer: Customer
    zone: str
    due: str

    @property
    def recipient(self) -> str:
        return str(self.customer.email or self.customer.phone_e164)

    def is_asleep(self, now: datetime) -> bool:
        return not is_open(now, self.zone)


def set_up_company(people: int) -> list[Person]:
    """Tables without the history of their migrations, which would take most of a quick run."""
    settings.MIGRATION_MODULES = {app.label: None for app in apps.get_app_configs()}
    call_command("migrate", run_syncdb=True, verbosity=0)
    now = clock.now()
    # No country's holidays, and an afternoon where most people live: the run does the same on every day of the year.
    make.set_company(country="ZZ", timezone=_zone_where_it_is(AFTERNOON, now))
    sending_limits_set(actor=None, mails_per_minute=HARDLY_A_LIMIT, texts_per_minute=HARDLY_A_LIMIT)
    schedule_ensure(task="outbox.dispatch", every_minutes=1, now=now)
    wash = make.make_service(code="house_wash")
    return [_person(number, wash, now) for number in range(people)]


def _offset(hour: int, now: datetime) -> int:
    """Hours ahead of UTC, -11 to 12, where it is about `hour` o'clock."""
    return (hour - now.hour + 11) % 24 - 11


def _zone_where_it_is(hour: int, now: datetime) -> str:
    return f"Etc/GMT{-_offset(hour, now):+d}"


def _person(number: int, wash: object, now: datetime) -> Person:
    channel = "email" if number % 2 else "text"
    address = {"email": f"p{number}@example.com"} if number % 2 else {"phone_e164": f"+1555{5_550_000 + number}"}
    customer = make.make_customer(**({"email": "", "phone_e164": ""} | address))
    make.make_consent(customer=customer, channel=channel, given=True)
    asleep = number % ASLEEP_EVERY == 0
    degrees = {"latitude": OPEN_SEA, "longitude": 15.0 * _offset(NIGHT, now)} if asleep else {}
    place = make.make_property(**({"customer": customer, "latitude": None, "longitude": None} | degrees))
    today = now.date()
    make.make_interval(property=place, service=wash, next_due_on=today)
    zone = zone_at(place.latitude, place.longitude) if asleep else company_get().timezone
    is_reminder = number % 4 < 2
    return Person(number, channel, customer, zone, due_key(place.pk, "house_wash", today) if is_reminder else "")


class Office:
    """Writes messages and decides about them; a database that is away is asked again until it answers."""

    def __init__(self, people: list[Person], dice: random.Random) -> None:
        self.people, self.dice = people, dice
        self.done: Counter[str] = Counter()
        self.written: list[Person] = []
        self.opted_out: dict[str, datetime] = {}  # recipient -> when it was on record
        self.sent_again: Counter[int] = Counter()
        self.switched_off: list[tuple[datetime, datetime]] = []

    def write_to_the_next(self, number: int) -> None:
        for person in self.people[len(self.written) : len(self.written) + number]:
            self._surely(lambda person=person: self._write(person))
            self.written.append(person)

    def _write(self, person: Person) -> None:
        now = clock.now()
        if person.due:
            reminders_queue(keys=[person.due], actor=None, now=now)
        else:
            message_queue(
                dedupe_key=f"note:{person.number}", channel=person.channel, purpose="note", recipient=person.recipient,
                recipient_name="", subject="A note", body="We come tomorrow.", quiet_zone=person.zone, now=now,
            )  # fmt: skip
            dispatch_soon()

    def take_opt_outs(self) -> None:
        """Of somebody who was just written to, sooner or later than the message leaves."""
        open_ones = [person for person in self.written[-9:] if person.recipient not in self.opted_out]
        if not open_ones or self.dice.random() > OPT_OUT_CHANCE:
            return
        person = self.dice.choice(open_ones)
        self._surely(
            lambda: opt_out_record(
                customer=person.customer, channel=person.channel, everything=True, wording="STOP ALL", source="reply",
                now=clock.now(),
            )
        )  # fmt: skip
        self.opted_out[person.recipient] = clock.now()
        self.done["people who opted out"] += 1

    def throw_the_switch(self, seconds: float) -> None:
        self._surely(lambda: sending_switch_set(is_on=False, reason="a wrong price", actor=None, now=clock.now()))
        off = clock.now()
        time.sleep(seconds)
        self.switched_off.append((off, clock.now()))
        self._surely(lambda: sending_switch_set(is_on=True, reason="mended", actor=None, now=clock.now()))
        self.done["sending switched off and on"] += 1

    def send_unknown_texts_again(self) -> None:
        """Those that the gateway left open: it knows the key, so the person still gets one. Mail has no such key."""
        unknown = self._surely(lambda: list(unknown_list(now=clock.now()).filter(channel="text")[:3]))
        for message in unknown:
            self.sent_again[message.pk] += 1  # before it is asked for: an answer may be lost on the way
            try:
                self._surely(lambda pk=message.pk: self._send_again(pk))
            except Conflict:  # the answer was lost, and it was done
                continue
            self.done["unknown texts sent again on purpose"] += 1

    def _send_again(self, message_id: int) -> None:
        message_send_again(message_id=message_id, reason="not in the provider's list", actor=None, now=clock.now())

    def tick(self) -> None:
        """What the clock does once a minute, only more often."""

        def minute_is_over() -> None:
            now = clock.now()
            Schedule.objects.update(next_due_at=now - timedelta(seconds=1))
            due_schedules_enqueue(now=now)

        self._surely(minute_is_over)

    def hasten(self) -> None:
        """The minutes until the next attempt are over for all who are awake."""
        self._surely(lambda: Message.objects.filter(pk__in=self.waiting()).update(not_before=None))

    def waiting(self) -> list[int]:
        """Messages that could have left by now."""
        now = clock.now()
        asleep = {person.recipient for person in self.people if person.is_asleep(now)}
        rows = self._surely(lambda: list(Message.objects.filter(state="waiting").values_list("pk", "recipient")))
        return [pk for pk, recipient in rows if recipient not in asleep]

    def states(self) -> dict[str, int]:
        return message_counts()

    def _surely(self, act: Callable[[], T]) -> T:
        while True:
            try:
                return act()
            except (DatabaseError, InterfaceError):
                connection.close()
                time.sleep(0.1)
