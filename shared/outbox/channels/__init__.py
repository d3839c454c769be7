"""The ways out. Each channel takes a message and answers with the provider's reference, or raises.

`NotSent` means that the provider certainly did not take it; any other error leaves the result unknown.
"""

from django.conf import settings

from shared.outbox.channels import folder, gateway, smtp
from shared.outbox.errors import NotSent
from shared.outbox.models import Channel, Message

_WAYS = {
    (Channel.EMAIL, "folder"): folder.write_mail,
    (Channel.EMAIL, "smtp"): smtp.send_mail,
    (Channel.TEXT, "folder"): folder.write_text,
    (Channel.TEXT, "gateway"): gateway.send_text,
}


def ways_of(channel: str) -> list[str]:
    """What the channel's setting may say."""
    return [way for known, way in _WAYS if known == channel]


def way_out(channel: str) -> str:
    """How this channel leaves, by setting: `folder`, `smtp` or `gateway`."""
    return str(settings.WALLDAY_MAIL if channel == Channel.EMAIL else settings.WALLDAY_TEXT)


def deliver(message: Message) -> str:
    """Hand the message over and return the provider's reference. Never call it inside a transaction."""
    way = _WAYS.get((Channel(message.channel), way_out(message.channel)))
    if way is None:
        setting = "WALLDAY_MAIL" if message.channel == Channel.EMAIL else "WALLDAY_TEXT"
        raise NotSent(f"{setting} is set to {way_out(message.channel)!r}, which is no way out.", again=True)
    return way(message)
