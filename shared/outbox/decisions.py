"""What the office may decide about a message, and the two ways of the switch: one table each, which the page, the
command and the API read. What a decision does, and its guard, are in services.py."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from shared.outbox.models import Message, MessageState
from shared.outbox.selectors import is_unknown
from shared.outbox.services import message_call_off, message_mark_sent, message_send_again


@dataclass(frozen=True)
class Decision:
    """`code` is its name for programs and on the page, `word` the command's. It is open for messages in `states`, and
    with `if_unknown` for those of unknown result. `button` and `said` are the page's words; `meaning` goes into the
    description of the API; with `warns` the button is shown as one that ends something."""

    code: str
    word: str
    take: Callable[..., Message]
    states: frozenset[str]
    if_unknown: bool
    meaning: str
    button: Promise
    said: Promise
    warns: bool = False


DECISIONS = (
    Decision(
        code="arrived",
        word="arrived",
        take=message_mark_sent,
        states=frozenset(),
        if_unknown=True,
        meaning="one of unknown result counts as sent",
        button=_("It arrived"),
        said=_("It counts as sent."),
    ),
    Decision(
        code="send_again",
        word="again",
        take=message_send_again,
        states=frozenset({MessageState.FAILED, MessageState.DROPPED}),
        if_unknown=True,
        meaning="one that failed, was dropped or is of unknown result waits again",
        button=_("Send it again"),
        said=_("It waits to be sent again."),
    ),
    Decision(
        code="call_off",
        word="call-off",
        take=message_call_off,
        states=frozenset({MessageState.WAITING}),
        if_unknown=False,
        meaning="one that waits is dropped",
        button=_("Do not send it"),
        said=_("It will not be sent."),
        warns=True,
    ),
)
BY_CODE = {decision.code: decision for decision in DECISIONS}
BY_WORD = {decision.word: decision for decision in DECISIONS}


def decisions_open(message: Message, *, now: datetime) -> Sequence[Decision]:
    """What may be decided about a message as it is now, the most likely first."""
    unknown = is_unknown(message, now=now)
    return [each for each in DECISIONS if message.state in each.states or (unknown and each.if_unknown)]


def decisions_meaning() -> str:
    """All of them for the description of the API."""
    return " ".join(f"`{each.code}`: {each.meaning}." for each in DECISIONS)


@dataclass(frozen=True)
class Throw:
    """One way of the switch that stops all sending. `word` is the command's and the page's."""

    word: str
    is_on: bool
    button: Promise
    said: Promise


THROWS = {
    "stop": Throw("stop", False, _("Stop all sending"), _("Sending is off. Nothing leaves.")),
    "allow": Throw("allow", True, _("Allow sending"), _("Sending is on.")),
}


def throw_open(switch_is_on: bool) -> Throw:
    """The way in which the switch can be thrown now."""
    return next(throw for throw in THROWS.values() if throw.is_on != switch_is_on)
