"""What became of the messages that the demo's estimates and notices wrote. Most arrived; one of each kind of trouble
shows what the office then has to decide: nobody knows, refused for good, and too late."""

from datetime import date, datetime, timedelta
from typing import Any

from pricing.estimates.choices import MessageKind
from pricing.estimates.models import EstimateMessage
from pricing.estimates.services import estimates_nudge
from routing.demo.services.house_rows import OFFICE_OPENS, at
from shared.outbox.models import Channel, Message, MessageState

NUDGED_DAYS_AGO = (5, 1)
NOBODY_KNOWS = "The text gateway answered 502, which leaves the result open."
NO_MAILBOX = "The mail server answered 550 no such mailbox here"
TOO_LATE = "It was too late to send it."


def messages_store(*, today: date) -> None:
    """The same day gives the same. None is left waiting, so that the demo's clock sends nothing by itself."""
    for days in NUDGED_DAYS_AGO:
        day = today - timedelta(days=days)
        estimates_nudge(now=at(day, OFFICE_OPENS), today=day)
    for message in Message.objects.filter(state=MessageState.WAITING).order_by("pk"):
        _ended(message, state=MessageState.SENT, delivered_at=_left_at(message) + timedelta(minutes=1))
    about = EstimateMessage.objects.order_by("pk").select_related("message")
    texts = about.filter(kind=MessageKind.SENT, message__channel=Channel.TEXT)
    for row in texts[:1]:
        _ended(row.message, state=MessageState.SENDING, finished_at=None, problem=NOBODY_KNOWS)
    for row in about.filter(kind=MessageKind.EXPIRING)[:1]:
        late = {"claimed_at": None, "finished_at": row.message.not_after, "attempts": 0}
        _ended(row.message, state=MessageState.DROPPED, problem=TOO_LATE, **late)
    mails = about.filter(kind=MessageKind.SENT, message__channel=Channel.EMAIL)
    for row in mails[1:2]:
        _ended(row.message, state=MessageState.FAILED, problem=NO_MAILBOX)


def _left_at(message: Message) -> datetime:
    return max(message.created_at, message.not_before or message.created_at)


def _ended(message: Message, **values: Any) -> None:
    moment = _left_at(message)
    usual = {"attempts": 1, "claimed_at": moment, "finished_at": moment, "delivered_at": None}
    Message.objects.filter(pk=message.pk).update(**usual | values)
