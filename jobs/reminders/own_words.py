"""The owner's own sentences: kept, changed, and shown as a customer would get them before they are kept."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.customers.models import Language
from jobs.reminders.composing import Draft, OwnWordsBook, compose
from jobs.reminders.domain.due import CHALK, Cause, Fact, ForecastFact, IntervalFact, ReadingFact
from jobs.reminders.domain.kept_cause import kind_of
from jobs.reminders.domain.own_words import CauseKind, faults
from jobs.reminders.expected import services_by_kind
from jobs.reminders.listing import DueSheet
from jobs.reminders.models import OwnWords
from jobs.reminders.narrowing import DueWish
from jobs.reminders.selectors import DueItem
from jobs.reminders.wording import finding_words
from shared.company.selectors import company_get
from shared.errors import Refused
from shared.events.services import event_record
from shared.outbox.models import Channel

LOOKED_AT = 30  # due lines among which one is looked for to show the words on


def own_words_book() -> OwnWordsBook:
    """Every sentence that was written, by kind, cause, language and channel."""
    rows = OwnWords.objects.values_list("kind", "cause", "language", "channel", "words")
    return {(kind, cause, language, channel): words for kind, cause, language, channel, words in rows}


def causes_of(kind: str) -> tuple[CauseKind, ...]:
    """What can make a kind due."""
    return (CauseKind.READING, CauseKind.FORECAST) if kind == CHALK else (CauseKind.INTERVAL,)


def kinds_to_write_about() -> list[tuple[str, str]]:
    """Codes and names of what recurs, and of chalk where a removal is offered."""
    found = services_by_kind()
    names = {kind: service.name for kind, service in found.items() if kind == CHALK or service.interval_months}
    return sorted((kind, f"{name} ({_('by its walls')})" if kind == CHALK else name) for kind, name in names.items())


@transaction.atomic
def own_words_set(
    *, kind: str, cause: str, language: str, channel: str, words: str, actor: Any, now: datetime
) -> OwnWords | None:
    """Keep the owner's sentence; an empty one brings ours back. Raises Refused, naming everything that is wrong."""
    place: dict[str, Any] = {"kind": kind, "cause": cause, "language": language, "channel": channel}
    _require(**place)
    words = words.replace("\r\n", "\n").strip()
    found = faults(words, CauseKind(cause))
    if found:
        raise Refused(" ".join(finding_words(finding) for finding in found))
    known = OwnWords.objects.filter(**place).first()
    if not words:
        OwnWords.objects.filter(**place).delete()
        row = None
    else:
        values = {"words": words, "updated_at": now, "updated_by": actor}
        row, _made = OwnWords.objects.update_or_create(**place, defaults=values)
    if (known.words if known else "") != words:
        data = {**place, "before": known.words if known else "", "after": words}
        event_record(kind="reminders.own_words", subject=company_get(), actor=actor, data=data)
    return row


def _require(*, kind: str, cause: str, language: str, channel: str) -> None:
    if kind not in dict(kinds_to_write_about()) or cause not in causes_of(kind):
        raise Refused(_("Nothing falls due in this way."), kind=kind, cause=cause)
    if language not in Language.values or channel not in Channel.values:
        raise Refused(_("There is no such language or channel."), language=language, channel=channel)


def own_words_preview(*, kind: str, cause: CauseKind, language: str, channel: str, words: str, today: date) -> Draft:
    """The message of somebody for whom such a thing is due, or else of an invented customer, with these words."""
    item = next(_due_by(kind, cause, today), None) or _invented(kind, cause, today)
    item = item._replace(language=language, channel=channel)
    return compose([item], company_get(), today=today, own_words={(kind, cause.value, language, channel): words})


def _due_by(kind: str, cause: CauseKind, today: date) -> Iterator[DueItem]:
    lines = DueSheet(today=today, wish=DueWish(kind=kind))[:LOOKED_AT]
    return (item for item in lines if kind_of(item.cause) == cause)


def _invented(kind: str, cause: CauseKind, today: date) -> DueItem:
    return DueItem(
        key="", property_id=0, customer_id=0, customer_name=_("Sample Customer"), address="", street="12 Sample Street",
        place=None, kind=kind, service_name=services_by_kind()[kind].name, due_on=today, reason="", language="",
        last_contact_on=None, state="ready", channel="", recipient="", consent="", why_not="", price_cents=None,
        minutes=0, chance=None, cause=Cause(_fact(kind, cause, today), 0, Decimal(2)),
    )  # fmt: skip


def _fact(kind: str, cause: CauseKind, today: date) -> Fact:
    year_ago = today - timedelta(days=365)
    if cause == CauseKind.INTERVAL:
        return IntervalFact(0, kind, False, 12, year_ago, today)
    if cause == CauseKind.READING:
        return ReadingFact(0, 0, "South wall", "face", 180, Decimal(3), year_ago)
    later = today + timedelta(days=60)
    return ForecastFact(0, 0, "South wall", "face", 180, Decimal("1.5"), year_ago, later, today, later)
