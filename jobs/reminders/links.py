"""The links of a reminder: signed, no account needed.

A text message carries one link, the answer's, as short as it can be: its page leads to the opt-out as well, also after
the answer's time is over. Nobody guesses 64 bits by asking a server (our choice; RFC 8058, section 6, asks that such an
address is hard to forge).

The opt-out never expires: 15 USC 7704(a)(3)(A)(ii) asks that it works for at least 30 days after the message. The
answer does, after ANSWER_GOOD_FOR: prices and days do not stay as they were. Checked on 2026-11-25; not legal advice.
"""

import base64
from collections.abc import Iterable
from datetime import date, timedelta

from django.core import signing
from django.urls import reverse
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.http import base36_to_int, int_to_base36
from django.utils.translation import gettext

from shared.outbox.models import Channel
from shared.signed_links import LinkRefused, link_to

OPT_OUT_SALT = "wallday.reminders.opt_out"
ANSWER_SALT = "wallday.reminders.answer"
SHOWN_SALT = "wallday.reminders.shown"
ANSWER_GOOD_FOR = timedelta(days=45)  # our choice, no source

_LETTERS = {"e": Channel.EMAIL, "t": Channel.TEXT}
_LETTER_OF = {channel: letter for letter, channel in _LETTERS.items()}
_SIGNATURE_BYTES, _SHORT_BYTES = 12, 8
_FIRST_DAY = date(2020, 1, 1)  # days are counted from here, so that they take three places for a century


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
    return link_to(reverse("reminders:opt_out", args=[opt_out_token(customer_id, channel)]))


def answer_token(customer_id: int, written_on: date) -> str:
    head = f"{int_to_base36(customer_id)}.{int_to_base36((written_on - _FIRST_DAY).days)}"
    return f"{head}.{_signature(head, ANSWER_SALT, _SHORT_BYTES)}"


def answer_target(token: str, *, today: date) -> tuple[int, date]:
    """The customer and the day of the reminder. Raises LinkRefused for a token that was altered or is too old."""
    customer_id, written_on = answer_sender(token)
    if today > written_on + ANSWER_GOOD_FOR:
        raise LinkRefused(gettext("The time of this link is over. Ask us for a new one."))
    return customer_id, written_on


def answer_sender(token: str) -> tuple[int, date]:
    """The same however old the token is. Raises LinkRefused for one that was altered."""
    head, _, signature = token.rpartition(".")
    if not constant_time_compare(signature, _signature(head, ANSWER_SALT, _SHORT_BYTES)):
        raise LinkRefused(gettext("This link is not complete. Open it again from the message."))
    customer, _, day = head.partition(".")
    return base36_to_int(customer), _FIRST_DAY + timedelta(days=base36_to_int(day))


def shown_days_sign(token: str, days: Iterable[date]) -> str:
    """What the form of an answer carries along: the days that its page offered to the owner of a token."""
    return signing.dumps([token, *(day.isoformat() for day in days)], salt=SHOWN_SALT)


def shown_days(token: str, signed: str) -> frozenset[date]:
    """The days that were offered; none where they were not signed here for this token."""
    try:
        owner, *days = signing.loads(signed, salt=SHOWN_SALT)
    except signing.BadSignature:
        return frozenset()
    return frozenset(map(date.fromisoformat, days)) if owner == token else frozenset()


def answer_link(customer_id: int, written_on: date) -> str:
    return link_to(reverse("reminders:answer", args=[answer_token(customer_id, written_on)]))


def one_click_headers(link: str) -> dict[str, str]:
    """RFC 8058, section 3.1: a mailbox may opt its user out by one POST. RFC 2369 for the address itself."""
    return {"List-Unsubscribe": f"<{link}>", "List-Unsubscribe-Post": "List-Unsubscribe=One-Click"}


def _signature(head: str, salt: str = OPT_OUT_SALT, size: int = _SIGNATURE_BYTES) -> str:
    digest = salted_hmac(salt, head, algorithm="sha256").digest()
    return base64.urlsafe_b64encode(digest[:size]).decode().rstrip("=")
