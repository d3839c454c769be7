"""The opt-out link: signed, short enough for a text message, good for ever, no account needed.

It never expires: 15 USC 7704(a)(3)(A)(ii) asks that an opt-out works for at least 30 days after the message.
"""

import base64

from django.conf import settings
from django.urls import reverse
from django.utils.crypto import constant_time_compare, salted_hmac

from shared.outbox.models import Channel

_LETTERS = {"e": Channel.EMAIL, "t": Channel.TEXT}
_LETTER_OF = {channel: letter for letter, channel in _LETTERS.items()}
_SIGNATURE_BYTES = 12


def opt_out_token(customer_id: int, channel: str) -> str:
    head = f"{_LETTER_OF[Channel(channel)]}{customer_id}"
    return f"{head}.{_signature(head)}"


def opt_out_target(token: str) -> tuple[int, Channel] | None:
    """The customer and channel that a token is for, or None where it was not made here."""
    head, _, signature = token.partition(".")
    if not constant_time_compare(signature, _signature(head)):
        return None
    return int(head[1:]), _LETTERS[head[0]]


def opt_out_link(customer_id: int, channel: str) -> str:
    path = reverse("reminders:opt_out", args=[opt_out_token(customer_id, channel)])
    return f"{settings.WALLDAY_SITE_URL.rstrip('/')}{path}"


def one_click_headers(link: str) -> dict[str, str]:
    """RFC 8058, section 3.1: a mailbox may opt its user out by one POST. RFC 2369 for the address itself."""
    return {"List-Unsubscribe": f"<{link}>", "List-Unsubscribe-Post": "List-Unsubscribe=One-Click"}


def _signature(head: str) -> str:
    digest = salted_hmac("wallday.reminders.opt_out", head, algorithm="sha256").digest()
    return base64.urlsafe_b64encode(digest[:_SIGNATURE_BYTES]).decode()
