import json
from collections.abc import Iterable
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shared import clock
from shared.errors import WalldayError
from shared.outbox.decisions import BY_WORD, THROWS
from shared.outbox.models import Message
from shared.outbox.selectors import message_counts, sending_switch_get, unknown_list
from shared.outbox.services import sending_switch_set


def _words(table: Iterable[str]) -> str:
    """As in a sentence: `one`, `two` and `three`."""
    *others, last = (f"`{word}`" for word in table)
    return f"{', '.join(others)} and {last}"


class Command(BaseCommand):
    help = (
        f"Whether messages leave, and those of unknown result. {_words(THROWS)} throw the switch, at once; "
        f"{_words(BY_WORD)} decide about one message. Each of them needs --why."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("what", nargs="?", choices=["show", *THROWS, *BY_WORD], default="show")
        parser.add_argument("message", nargs="?", type=int, help="number of the message to decide about")
        parser.add_argument("--why", default="", help="in a few words; kept in the history")
        parser.add_argument("--json", action="store_true", help="one JSON object instead of the text")

    def handle(self, *args: Any, **options: Any) -> None:
        what, now = options["what"], clock.now()
        try:
            if what in THROWS:
                sending_switch_set(is_on=THROWS[what].is_on, reason=options["why"], actor=None, now=now)
            elif what in BY_WORD:
                BY_WORD[what].take(message_id=_number(options), reason=options["why"], actor=None, now=now)
        except WalldayError as error:
            raise CommandError(error.message) from error
        found = _found()
        self.stdout.write(json.dumps(found, indent=2) if options["json"] else "\n".join(_lines(found)))


def _number(options: dict[str, Any]) -> int:
    number = options["message"]
    if number is None:
        raise CommandError("Give the number of the message, as the list of those of unknown result shows it.")
    if not Message.objects.filter(pk=number).exists():
        raise CommandError(f"There is no message {number}.")
    return int(number)


def _found() -> dict[str, Any]:
    switch = sending_switch_get()
    return {
        "is_on": switch.is_on,
        "reason": switch.reason,
        "changed_at": switch.changed_at.isoformat() if switch.changed_at else None,
        "counts": message_counts(),
        "unknown": [_json(message) for message in unknown_list(now=clock.now())],
    }


def _json(message: Message) -> dict[str, Any]:
    assert message.claimed_at is not None  # by the row's own constraint
    return {
        "id": message.pk,
        "channel": message.channel,
        "recipient": message.recipient,
        "purpose": message.purpose,
        "handed_over_at": message.claimed_at.isoformat(),
        "problem": message.problem,
    }


def _lines(found: dict[str, Any]) -> list[str]:
    reason = f": {found['reason']}" if found["reason"] else ""
    is_on = "Sending is on" if found["is_on"] else "Sending is off, nothing leaves"
    counts = ", ".join(f"{number} {state}" for state, number in found["counts"].items())
    unknown = [_line(each) for each in found["unknown"]]
    if unknown:
        unknown.insert(0, "Handed over and never answered for; ask, then say `arrived` or `again`:")
    return [f"{is_on}{reason}.", f"{counts}.", *unknown]


def _line(message: dict[str, Any]) -> str:
    at = message["handed_over_at"][:16]
    words = (f"{message['id']:>8}", at, f"{message['channel']:5}", message["recipient"], message["purpose"])
    return "  ".join((*words, message["problem"])).rstrip()
