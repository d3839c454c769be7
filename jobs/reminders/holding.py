"""The held-back group: who of those that would be reminded is drawn for it, and who never is."""

import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models.functions import Coalesce

from jobs.reminders.composing import Draft
from jobs.reminders.domain.gain import campaign_of, is_held_back
from jobs.reminders.models import AnswerKind, HeldBack, HoldingBack, InboundText, ReminderAnswer, ReplyMeaning
from jobs.work.choices import JobState
from jobs.work.models import Job
from shared.events.services import event_record

ASKED_WITHIN = timedelta(days=90)  # who asked something so lately is not held back; our choice, no source


@dataclass(frozen=True)
class Draw:
    """What decides who is held back.

    `asked`: customers who never are; `tried`: customers and campaigns that were held back before.
    """

    percent: int
    seed: str
    asked: frozenset[int]
    tried: frozenset[tuple[int, date]]

    def takes_part(self, draft: Draft) -> bool:
        """Whether the message might be held back, and so counts in the comparison."""
        is_new = (draft.customer_id, _campaign(draft)) not in self.tried
        return self.percent > 0 and is_new and draft.customer_id not in self.asked

    def holds_back(self, draft: Draft) -> bool:
        return self.takes_part(draft) and is_held_back(
            seed=self.seed, customer_id=draft.customer_id, campaign=_campaign(draft), percent=self.percent
        )


NOBODY = Draw(percent=0, seed="", asked=frozenset(), tried=frozenset())


def draw_for(*, customer_ids: Iterable[int], now: datetime) -> Draw:
    """The draw among these customers, by the company's setting."""
    setting = holding_back_get()
    if setting.percent == 0:
        return NOBODY
    wanted = list(customer_ids)
    return Draw(setting.percent, setting.seed, frozenset(_asked(wanted, now)), frozenset(_tried(wanted)))


def holding_back_get() -> HoldingBack:
    setting, _made = HoldingBack.objects.get_or_create(pk=1, defaults={"seed": secrets.token_hex(8)})
    return setting


@transaction.atomic
def holding_back_set(*, percent: int, actor: Any) -> HoldingBack:
    """Change how many are held back from now on. Raises ValidationError for more than MOST_HELD_BACK_PERCENT."""
    setting = holding_back_get()
    before, setting.percent = setting.percent, percent
    setting.full_clean()
    setting.save()
    event_record(kind="reminders.holding_back", subject=setting, actor=actor, data={"before": before, "after": percent})
    return setting


def _asked(customer_ids: list[int], now: datetime) -> set[int]:
    """Customers who wait to hear from us: they asked to be written to again, wrote a text, or have work on offer."""
    who = Coalesce("customer__merged_into", "customer")
    again = ReminderAnswer.objects.annotate(who=who).filter(who__in=customer_ids, kind=AnswerKind.NOT_NOW)
    wrote = InboundText.objects.annotate(who=who).filter(who__in=customer_ids, at__gt=now - ASKED_WITHIN)
    wrote = wrote.exclude(meaning=ReplyMeaning.STOP)
    offered = Job.objects.filter(property__customer__in=customer_ids, state__in=(JobState.LEAD, JobState.ESTIMATED))
    return {
        *again.values_list("who", flat=True),
        *wrote.values_list("who", flat=True),
        *offered.values_list("property__customer", flat=True),
    }


def _tried(customer_ids: list[int]) -> set[tuple[int, date]]:
    rows = HeldBack.objects.filter(property__customer__in=customer_ids).order_by("id")
    return {(customer, campaign_of(due_on)) for customer, due_on in rows.values_list("property__customer", "due_on")}


def _campaign(draft: Draft) -> date:
    """A message belongs to the campaign of the first thing that it is about."""
    return campaign_of(draft.items[0].due_on)
