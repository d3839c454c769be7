"""A last look before a message leaves: the room that wrote it may say why it must not go any more.

The outbox knows nothing of consent or customers. A room registers a guard for its purpose when Django starts; the
dispatcher asks it in the transaction that claims the row, so an opt-out that was recorded before is always seen.
"""

from collections.abc import Callable

from shared.outbox.models import Message

Guard = Callable[[Message], str]
_guards: dict[str, Guard] = {}
_guards_of_all: list[tuple[Guard, tuple[str, ...]]] = []


def guard_register(purpose: str, guard: Guard) -> None:
    """`guard(message)` answers with the reason for dropping the message, or with an empty text."""
    _guards[purpose] = guard


def guard_every(guard: Guard, *, but: tuple[str, ...] = ()) -> None:
    """A guard that is asked for messages of every purpose except those in `but`."""
    _guards_of_all.append((guard, but))


def reason_to_drop(message: Message) -> str:
    """Why the rooms say that the message must not leave any more; an empty text where it may."""
    asked = [_guards.get(message.purpose), *(guard for guard, but in _guards_of_all if message.purpose not in but)]
    return next((reason for guard in asked if guard and (reason := guard(message))), "")
