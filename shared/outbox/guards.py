"""A last look before a message leaves: the room that wrote it may say why it must not go any more.

The outbox knows nothing of consent or customers. A room registers a guard for its purpose when Django starts; the
dispatcher asks it in the transaction that claims the row, so an opt-out that was recorded before is always seen.
"""

from collections.abc import Callable

from shared.outbox.delivery import blocked_words
from shared.outbox.models import Message
from shared.outbox.selectors import blocked_among

Guard = Callable[[Message], str]
_guards: dict[str, Guard] = {}


def guard_register(purpose: str, guard: Guard) -> None:
    """`guard(message)` answers with the reason for dropping the message, or with an empty text."""
    _guards[purpose] = guard


def reason_to_drop(message: Message) -> str:
    """Why the message must not leave any more; an empty text where it may."""
    blocked = blocked_among([(message.channel, message.recipient)])
    if blocked:
        return blocked_words(next(iter(blocked.values())))
    guard = _guards.get(message.purpose)
    return guard(message) if guard else ""
