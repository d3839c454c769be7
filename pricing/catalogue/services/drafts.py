"""The next rate card: written as a draft, put in force from a day on, and never changed after that."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.translation import gettext as _

from pricing.catalogue.domain.card_rows import CardContent, CardDifference, CardRow, differences, in_order
from pricing.catalogue.models import (
    CardMaterial,
    MaterialUse,
    Rate,
    RateCard,
    RateFactor,
    Service,
    Surcharge,
)
from pricing.catalogue.selectors import card_content, draft_card, rate_card_on, standing_cards
from pricing.estimates.models import Estimate
from shared.errors import Conflict, Refused, Stale
from shared.events.services import event_record


@transaction.atomic
def draft_begin(*, today: date, source: RateCard | None = None, actor: Any = None) -> RateCard:
    """Begin the next card as a copy of `source`, such as one that was withdrawn, or of the one in force; the draft that
    there is already stays. Raises Refused where there is no card to begin with."""
    draft = draft_card()
    if draft is not None:
        return draft
    source = source or rate_card_on(on=today)
    if source is None:
        raise Refused(_("There is no rate card yet. Start with the common values."))
    try:
        with transaction.atomic():
            draft = RateCard.objects.create(effective_from=today, is_draft=True)
    except IntegrityError as error:  # somebody else began one just now
        raise Conflict(_("A draft was begun just now. Open it.")) from error
    _store(draft, card_content(card=source))
    event_record(kind="rate_card.begun", subject=draft, actor=actor, data={"from_card": source.pk})
    return draft


@transaction.atomic
def draft_set(
    *, draft: RateCard, content: CardContent, expected_version: int, actor: Any = None
) -> list[CardDifference]:
    """Let the draft say this and nothing else; the differences that it made. None: nothing is written. Raises Stale."""
    found = differences(card_content(card=draft), content)
    if not found:
        return found
    _advance(draft, expected_version)
    for rows in (draft.surcharges, draft.rates, draft.materials):
        rows.all().delete()
    _store(draft, content)
    data = {"changed": [[each.part, each.of, each.column, each.before, each.after] for each in found]}
    event_record(kind="rate_card.changed", subject=draft, actor=actor, data=data)
    return found


@transaction.atomic
def draft_put_in_force(
    *, draft: RateCard, effective_from: date, today: date, expected_version: int, note: str = "", actor: Any = None
) -> RateCard:
    """From this day on estimates are made with it; those that were made keep their figures. Raises Refused for a day
    that has passed, Conflict where another card begins on it, Stale."""
    if effective_from < today:
        raise Refused(_("A card can start today or later."), effective_from=effective_from.isoformat())
    if standing_cards().filter(effective_from=effective_from).exists():
        raise Conflict(_("Another card starts on this day. Choose the next one."))
    _advance(draft, expected_version, is_draft=False, effective_from=effective_from, note=note.strip())
    event_record(kind="rate_card.in_force", subject=draft, actor=actor, data={"from": effective_from.isoformat()})
    return draft


@transaction.atomic
def card_withdraw(
    *, card: RateCard, today: date, now: datetime, expected_version: int, reason: str = "", actor: Any = None
) -> RateCard:
    """Take back a card that has not begun; it is kept as withdrawn, and another may begin on its day.

    Raises Refused for a card that is or was in force, for one with which an estimate was made, for a draft and for one
    that was withdrawn before; Stale.
    """
    if card.is_draft or card.withdrawn_at is not None:
        raise Refused(_("This card is not waiting for its first day."))
    if card.effective_from <= today:
        raise Refused(_("This card is or was in force. Put another one in force instead."))
    if Estimate.objects.filter(card_from=card.effective_from).exists():
        raise Refused(_("An estimate was made with this card. Put another one in force instead."))
    waiting = RateCard.objects.filter(pk=card.pk, is_draft=False, withdrawn_at__isnull=True, effective_from__gt=today)
    if not waiting.filter(version=expected_version).update(version=F("version") + 1, withdrawn_at=now):
        raise Stale(_("This was changed meanwhile. Fetch it again and repeat your change."))
    card.refresh_from_db()
    data = {"from": card.effective_from.isoformat()}
    event_record(kind="rate_card.withdrawn", subject=card, actor=actor, reason=reason.strip()[:200], data=data)
    return card


@transaction.atomic
def draft_drop(*, draft: RateCard, expected_version: int, actor: Any = None) -> None:
    """Throw the draft away. Raises Stale."""
    _advance(draft, expected_version)
    event_record(kind="rate_card.dropped", subject=draft, actor=actor)
    draft.delete()


def _advance(draft: RateCard, expected_version: int, **fields: Any) -> None:
    rows = RateCard.objects.filter(pk=draft.pk, is_draft=True, version=expected_version)
    if not rows.update(version=F("version") + 1, **fields):
        raise Stale(_("This was changed meanwhile. Fetch it again and repeat your change."))
    draft.refresh_from_db()


def _store(card: RateCard, content: CardContent) -> None:
    """The rows of a card that has none; rates and materials come first, since the others name them."""
    writer = _Writer(card)
    for row in in_order(content):
        writer.store(row)


class _Writer:
    def __init__(self, card: RateCard) -> None:
        self.card = card
        self.services = {service.code: service for service in Service.objects.all()}
        self.rates: dict[str, Rate] = {}
        self.materials: dict[str, CardMaterial] = {}

    def store(self, row: CardRow) -> None:
        write: dict[str, Callable[..., None]] = {
            "rate": self._rate, "factor": self._factor, "material": self._material, "use": self._use,
            "surcharge": self._surcharge,
        }  # fmt: skip
        write[str(row["part"])](**{name: value for name, value in row.items() if name != "part"})

    def _rate(self, service: str, **figures: Any) -> None:
        self.rates[service] = Rate.objects.create(card=self.card, service=self.services[service], **figures)

    def _factor(self, service: str, **figures: Any) -> None:
        RateFactor.objects.create(rate=self.rates[service], **figures)

    def _material(self, name: str, **figures: Any) -> None:
        self.materials[name] = CardMaterial.objects.create(card=self.card, name=name, **figures)

    def _use(self, service: str, name: str, **figures: Any) -> None:
        MaterialUse.objects.create(rate=self.rates[service], material=self.materials[name], **figures)

    def _surcharge(self, service: str, **figures: Any) -> None:
        Surcharge.objects.create(card=self.card, service=self.services.get(service), **figures)
