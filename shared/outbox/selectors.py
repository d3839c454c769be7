from collections.abc import Iterable
from datetime import datetime

from django.db.models import Count, Q, QuerySet, Value
from django.db.models.functions import Lower

from shared.outbox.domain.limits import MINUTE, WEEK, openings
from shared.outbox.domain.retry import UNKNOWN_AFTER
from shared.outbox.models import BlockedAddress, Channel, Message, MessageState, SendingLimits, SendingSwitch

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
    if message.state != MessageState.SENDING or message.claimed_at is None:
        return False
    return bool(message.problem) or message.claimed_at <= now - UNKNOWN_AFTER


def unknown_list(*, now: datetime) -> QuerySet[Message]:
    """Messages of unknown result, the oldest first."""
    return Message.objects.filter(unknown_q(now)).order_by("claimed_at", "id")


def message_counts() -> dict[str, int]:
    """How many messages are in each state; every state is named."""
    found = Message.objects.order_by().values_list("state").annotate(number=Count("id"))
    return dict.fromkeys(MessageState.values, 0) | dict(found)


def sending_limits_get() -> SendingLimits:
    limits, _ = SendingLimits.objects.get_or_create(pk=1)
    return limits


def openings_get(*, now: datetime, limits: SendingLimits) -> dict[str, list[datetime]]:
    """By channel, when its next messages may leave within its pace: as many as go in a minute.

    What another process claims at this very moment counts as well, whichever of the two read the clock first.
    """
    lately = Message.objects.filter(
        channel__in=Channel.values, claimed_at__gt=now - MINUTE, claimed_at__lt=now + MINUTE
    )
    claimed: dict[str, list[datetime]] = {channel: [] for channel in Channel.values}
    for channel, at in lately.order_by().values_list("channel", "claimed_at"):
        claimed[channel] += [at] if at else []
    return {
        channel: openings(when, per_minute=limits.per_minute(channel), now=now) for channel, when in claimed.items()
    }


def message_ids_at(channel: str, address: str) -> list[int]:
    """Of all messages to an address, in whatever state: asked for those that wait, SQLite would read all that waits."""
    return list(_same_address(channel, address).order_by().values_list("pk", flat=True))


def _same_address(channel: str, address: str) -> QuerySet[Message]:
    """The same expression as in the index `message_to_one`."""
    return Message.objects.annotate(where=Lower("recipient")).filter(channel=channel, where=Lower(Value(address)))


def sent_lately(message: Message, *, now: datetime) -> list[datetime]:
    """When messages of any kind went to the same address in the last seven days."""
    went = _same_address(message.channel, message.recipient).filter(
        state__in=(MessageState.SENDING, MessageState.SENT), claimed_at__gt=now - WEEK
    )
    return [at for at in went.exclude(pk=message.pk).values_list("claimed_at", flat=True) if at]


def normal_address(channel: str, address: str) -> str:
    """The form in which addresses are compared."""
    return address.lower() if channel == Channel.EMAIL else address


def blocked_list() -> QuerySet[BlockedAddress]:
    """Addresses that nothing goes to, newest first."""
    return BlockedAddress.objects.filter(opened_at__isnull=True)


def blocked_among(addresses: Iterable[tuple[str, str]]) -> dict[tuple[str, str], BlockedAddress]:
    """Which of these (channel, address) are blocked; keys in the form in which addresses are compared."""
    wanted = {(channel, normal_address(channel, address)) for channel, address in addresses if address}
    rows = blocked_list().filter(address__in={address for _channel, address in wanted})
    return {(row.channel, row.address): row for row in rows if (row.channel, row.address) in wanted}
