"""What must be set for messages to leave, said when the product starts and not when the first message fails."""

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register

from shared.outbox.channels import way_out, ways_of
from shared.outbox.models import Channel

_SETTINGS = {Channel.EMAIL: "WALLDAY_MAIL", Channel.TEXT: "WALLDAY_TEXT"}


@register(Tags.compatibility)
def ways_out_check(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Each channel leaves by a way that exists; a gateway has an address."""
    found: list[CheckMessage] = [
        Error(f"{name} must be one of {', '.join(ways_of(channel))}.", id="outbox.E001")
        for channel, name in _SETTINGS.items()
        if way_out(channel) not in ways_of(channel)
    ]
    if settings.WALLDAY_TEXT == "gateway" and not settings.WALLDAY_TEXT_URL.startswith(
        ("https://", "http://127.0.0.1")
    ):
        found.append(Error("WALLDAY_TEXT_URL must be the gateway's https address.", id="outbox.E002"))
    return found
