"""The ways out. Each channel takes a message and answers with the provider's reference, or raises.

`NotSent` means that the provider certainly did not take it; any other error leaves the result unknown.
"""

from django.conf import settings

from shared.outbox.channels import folder, gateway, smtp
from shared.outbox.models import Channel, Message

_WAYS = {
    (Channel.EMAIL, "folder"): folder.write_mail,
    (Channel.EMAIL, "smtp"): smtp.send_mail,
    (Channel.TEXT, "folder"): folder.write_text,
    (Channel.TEXT, "gateway"): gateway.send_text,
}


def way_out(channel: str) -> str:
    """How this channel leaves, by setting: `folder`, `smtp` or `gateway`."""
    return str(settings.WALLDAY_MAIL if channel == Channel.EMAIL else settings.WALLDAY_TEXT)


def deliver(message: Message) -> str:
    """Hand the message over and return the provider's reference. Never call it inside a transaction."""
    return _WAYS[Channel(message.channel), way_out(message.channel)](message)
