"""Several offices queue and several dispatchers send at the same moment, each with its own connection."""

import threading
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime
from typing import Any
from unittest import mock

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from jobs.reminders import services
from jobs.reminders.answers import answer_settings_set
from jobs.reminders.links import answer_token
from jobs.reminders.models import Reminder
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminders_queue
from jobs.work.models import Job
from pricing.catalogue.models import Service
from routing.plans.models import ShiftException
from shared.outbox import dispatcher
from shared.outbox.models import Message
from shared.outbox.services import messages_dispatch, sending_limits_set
from shared.outbox.turns import due_turns
from tests import factories as make

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
AT_ONCE = 4


@pytest.fixture(autouse=True)
def nothing_is_sent_yet() -> Iterator[None]:
    """What is queued stays queued: the tests send by themselves, at their own time."""
    with mock.patch.object(services, "dispatch_soon"):
        yield


def at_once(work: Callable[[int], Any]) -> list[Any]:
    """The results of `work(0)`, `work(1)`, ... begun together."""
    together = threading.Barrier(AT_ONCE)

    def begin(number: int) -> Any:
        try:
            together.wait(10)
            return work(number)
        finally:
            connection.close()

    with ThreadPoolExecutor(AT_ONCE) as pool:
        return list(pool.map(begin, range(AT_ONCE)))


def test_offices_that_queue_at_once_write_once() -> None:
    """The same list from four offices: one message to each customer; the others hear why not."""
    make.set_company()
    for _ in range(6):
        make.make_interval()
    keys = [item.key for item in due_list(today=date(2026, 6, 1))]
    results = at_once(lambda _: reminders_queue(keys=keys, actor=None, now=NOW))
    assert sum(result.reminders for result in results) == 6
    assert sum(len(result.skipped) for result in results) == 6 * (AT_ONCE - 1)
    assert (Reminder.objects.count(), Message.objects.count()) == (6, 6)


def test_two_things_of_one_customer_do_not_slip_through_the_gap_together() -> None:
    """Four offices choose four different things due at one customer's: one of them goes, the rest must wait."""
    make.set_company()
    place = make.make_property()
    for number in range(AT_ONCE):
        make.make_interval(property=place, service=make.make_service(code=f"service-{number}-of-four"))
    keys = [item.key for item in due_list(today=date(2026, 6, 1))]
    results = at_once(lambda number: reminders_queue(keys=[keys[number]], actor=None, now=NOW))
    assert sorted(result.reminders for result in results) == [0, 0, 0, 1]
    assert Message.objects.count() == 1


def test_homeowners_who_choose_the_last_free_hours_at_once_get_them_once(owner: Any, time_machine: Any) -> None:
    """One job fits into the day, four people want it: one is promised the day, the others hear that it is taken."""
    time_machine.move_to(NOW, tick=False)
    make.set_company()
    make.make_card()
    wash, day = Service.objects.get(code="house_wash"), date(2026, 6, 4)
    ShiftException.objects.create(
        crew=make.make_crew(patterns=False),
        work_date=day,
        start_minute=480,
        end_minute=630,
        overtime_after_minutes=None,
    )
    answer_settings_set(makes="agreed", actor=owner)
    places = [make.make_property(latitude=40.0, longitude=-82.0) for _ in range(AT_ONCE)]
    for place in places:
        make.make_wall(property=place, area_sqft=1200)
        make.make_interval(property=place, service=wash)
    keys = [item.key for item in due_list(today=NOW.date())]
    assert reminders_queue(keys=keys, actor=None, now=NOW, hold_back=False).reminders == AT_ONCE

    def say_yes(number: int) -> int:
        link = reverse("reminders:answer", args=[answer_token(places[number].customer_id, NOW.date())])
        thing = places[number].reminders.get().pk
        return Client().post(link, {"kind": "yes", "thing": thing, "day": day.isoformat()}).status_code

    assert sorted(at_once(say_yes)) == [200, 422, 422, 422]
    assert [job.windows.get().first_date for job in Job.objects.all()] == [day]


def test_dispatchers_at_once_send_each_message_once() -> None:
    """Four dispatchers over thirty messages: every one is handed over exactly once."""
    for _ in range(30):
        make.make_message()
    handed: Counter[int] = Counter()
    lock = threading.Lock()

    def deliver(message: Message) -> str:
        with lock:
            handed[message.pk] += 1
        return ""

    with mock.patch.object(dispatcher, "deliver", deliver):
        results = at_once(lambda _: messages_dispatch(now=NOW))
    assert sum(result.sent for result in results) == 30
    assert (len(handed), set(handed.values())) == (30, {1})
    assert set(Message.objects.values_list("state", flat=True)) == {"sent"}


def test_dispatchers_at_once_keep_one_pace() -> None:
    """Each waits for the claims of the others before it counts them: of forty, ten for each dispatcher, ten leave."""
    for _ in range(10 * AT_ONCE):
        make.make_message()
    turns = due_turns(NOW, 10 * AT_ONCE, until=NOW)
    sending_limits_set(actor=None, mails_per_minute=10)

    def send(number: int) -> list[str]:
        return [dispatcher._send_one(turn, lambda: NOW) for turn in turns[number::AT_ONCE]]

    with mock.patch.object(dispatcher, "deliver", return_value=""):
        came_to = Counter(outcome for outcomes in at_once(send) for outcome in outcomes)
    assert came_to == {"sent": 10, "taken": 30}
    assert Message.objects.filter(state="waiting").count() == 30
