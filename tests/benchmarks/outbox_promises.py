"""What must hold of every message after a run of faults, each judged by what the other end saw. Import it like the
office, once Django is set up."""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import timedelta
from itertools import count, pairwise

import time_machine
from django.test import Client

from shared import clock
from shared.outbox.domain.quiet_hours import is_open
from shared.outbox.domain.retry import UNKNOWN_AFTER
from shared.outbox.models import Message
from shared.outbox.selectors import unknown_list
from tests import factories as make
from tests.benchmarks.outbox_office import Office
from tests.benchmarks.outbox_stand_ins import Handed

Broken = dict[str, list[str]]
By = dict[str, list[Handed]]
A_TURN = timedelta(seconds=0.2)


def broken_promises(office: Office, handed: Sequence[Handed]) -> Broken:
    """By promise, whom it was broken to: all empty in a good run. Each person gets one message in all."""
    messages = {message.recipient: message for message in Message.objects.all()}
    by_recipient: By = defaultdict(list)
    for each in handed:
        by_recipient[each.recipient].append(each)
    return {
        "lost": _lost(office, messages, by_recipient),
        "taken, and the row says that it was not": _denied(office, messages, by_recipient),
        "handed over under two keys": [who for who, all_of in by_recipient.items() if len({h.key for h in all_of}) > 1],
        "handed over again, and nobody asked for it": _repeated(office, messages, by_recipient),
        "unknown and not shown": _not_shown(),
        "sent after an opt-out": _after_opt_out(office, messages, by_recipient),
        "sent outside the hours": _outside_hours(office, handed),
        "sent while the switch was off": _while_off(office, messages, by_recipient),
    }


def _lost(office: Office, messages: dict[str, Message], by_recipient: By) -> list[str]:
    """No row; waiting for nothing; sent by its own account only; given up or dropped without cause."""
    asleep = {person.recipient for person in office.people if person.is_asleep(clock.now())}
    found = []
    for person in office.written:
        who = person.recipient
        message = messages.get(who)
        fine = (
            message is not None
            and {
                "waiting": who in asleep,
                "sending": True,
                "sent": _taken(by_recipient[who]),
                "dropped": who in office.opted_out,
                "failed": False,
            }[message.state]
        )
        found += [] if fine else [f"{who} {message and message.state} {message and message.problem}"]
    return found


def _denied(office: Office, messages: dict[str, Message], by_recipient: By) -> list[str]:
    """What the office sent again may have been taken the first time, and dropped the second."""
    return [
        f"{who} {message.state}"
        for who, message in messages.items()
        if _taken(by_recipient[who]) and message.state not in ("sent", "sending") and not office.sent_again[message.pk]
    ]


def _taken(handed: Iterable[Handed]) -> bool:
    return any(each.manner.takes for each in handed)


def _repeated(office: Office, messages: dict[str, Message], by_recipient: By) -> list[str]:
    """After anything but a definite refusal only the office may send again."""
    return [
        who
        for who, all_of in by_recipient.items()
        if sum(not before.manner.refuses for before, _ in pairwise(all_of)) > office.sent_again[messages[who].pk]
    ]


def _not_shown() -> list[str]:
    """The office looks once the time is over after which nobody can be sending any more."""
    with time_machine.travel(clock.now() + UNKNOWN_AFTER + timedelta(minutes=1)):
        listed = set(unknown_list(now=clock.now()).values_list("pk", flat=True))
        on_the_page = _numbers_on_the_page()
    sending = Message.objects.filter(state="sending")
    return [message.recipient for message in sending if message.pk not in listed & on_the_page]


def _numbers_on_the_page() -> set[int]:
    """Of all messages that the office finds under the words."""
    client, seen = Client(), set()
    client.force_login(make.make_user(role="office"))
    for page in count(1):
        text = client.get("/messages/", {"state": "sending", "page": page}).content.decode()
        assert "sending, result unknown" in text
        new = {int(number) for number in re.findall(r'href="/messages/(\d+)/"', text)} - seen
        if not new:
            return seen
        seen |= new
    raise AssertionError


def _after_opt_out(office: Office, messages: dict[str, Message], by_recipient: By) -> list[str]:
    """Claimed after the opt-out was on record; what was on its way already cannot be called back."""
    return [
        who
        for who, at in office.opted_out.items()
        if by_recipient[who] and (claimed := messages[who].claimed_at) is not None and claimed > at
    ]


def _outside_hours(office: Office, handed: Sequence[Handed]) -> list[str]:
    zones = {person.recipient: person.zone for person in office.people}
    return [each.recipient for each in handed if not is_open(each.at, zones[each.recipient])]


def _while_off(office: Office, messages: dict[str, Message], by_recipient: By) -> list[str]:
    """A claim reads the clock before it waits for its turn, which may come when the switch is on again."""
    return [
        who
        for who, message in messages.items()
        if by_recipient[who]
        and message.claimed_at
        and any(off < message.claimed_at < on - A_TURN for off, on in office.switched_off)
    ]
