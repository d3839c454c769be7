from datetime import datetime

from django.db.models import Count, Q, QuerySet

from shared.outbox.domain.retry import UNKNOWN_AFTER
from shared.outbox.models import Message, MessageState, SendingSwitch

STOPPED_HALFWAY = Q(state=MessageState.SENDING) & ~Q(problem="")


def sending_switch_get() -> SendingSwitch:
    switch, _ = SendingSwitch.objects.get_or_create(pk=1)
    return switch


def message_list(*, state: str = "", channel: str = "", purpose: str = "") -> QuerySet[Message]:
    """All messages, newest first, narrowed by what is given."""
    wanted = {"state": state, "channel": channel, "purpose": purpose}
    return Message.objects.filter(**{name: value for name, value in wanted.items() if value})


def unknown_q(now: datetime) -> Q:
    """Messages that were handed to a provider and never answered for: perhaps sent, perhaps not."""
    return STOPPED_HALFWAY | Q(state=MessageState.SENDING, claimed_at__lte=now - UNKNOWN_AFTER)


def is_unknown(message: Message, *, now: datetime) -> bool:
    """Whether this message is one of `unknown_list`."""
    return Message.objects.filter(unknown_q(now), pk=message.pk).exists()


def unknown_list(*, now: datetime) -> QuerySet[Message]:
    """Messages of unknown result, the oldest first."""
    return Message.objects.filter(unknown_q(now)).order_by("claimed_at", "id")


def message_counts() -> dict[str, int]:
    """How many messages are in each state; every state is named."""
    found = Message.objects.order_by().values_list("state").annotate(number=Count("id"))
    return dict.fromkeys(MessageState.values, 0) | dict(found)
