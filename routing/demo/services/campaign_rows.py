"""Reminders of the months gone by, with who was held back: so that there is something to see of what they brought."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from dateutil.relativedelta import relativedelta

from jobs.customers.models import Consent, Language, Property
from jobs.reminders.composing import compose
from jobs.reminders.domain.due import Cause, IntervalFact, due_key
from jobs.reminders.domain.gain import ANSWERED_WITHIN, campaign_of
from jobs.reminders.domain.own_words import CauseKind
from jobs.reminders.holding import holding_back_get
from jobs.reminders.models import AnswerKind, HeldBack, HoldingBack, ReminderAnswer
from jobs.reminders.own_words import own_words_set
from jobs.reminders.selectors import DueItem
from jobs.work.models import Job, Visit
from pricing.catalogue.models import Service
from routing.demo.domain.company import next_working_day
from routing.demo.services.house_rows import OFFICE_OPENS, at
from routing.demo.services.reminder_rows import reminder_sent
from shared.company.models import Company
from shared.outbox.models import Channel

SERVICE = "house_wash"
OWN_WORDS = (
    "We washed the house at {street} on {last_done}; every {every_months} months keeps it easy to clean. If the gate "
    "code has changed, tell us when you answer."
)
INTERVAL_MONTHS = 12
MONTHS_AGO = (6, 5, 4, 3)
# Of one campaign: told and booked, told and not; held back and not booked. Every other time one of those booked.
TOLD_CAME, TOLD, HELD = 11, 34, 6
UNDELIVERED_EVERY, ANSWERED_OF_TEN = 15, 7


@dataclass(frozen=True)
class _Campaign:
    company: Company
    service: Service
    sent_on: date

    def item(self, place: Property) -> DueItem:
        """The wash of a house that falls due in this month."""
        due_on = campaign_of(self.sent_on) + timedelta(days=place.pk % 28)
        fact = IntervalFact(place.pk, SERVICE, False, INTERVAL_MONTHS, None, due_on)
        return DueItem(
            key=due_key(place.pk, SERVICE, due_on),
            property_id=place.pk,
            customer_id=place.customer_id,
            customer_name=place.customer.name,
            address=place.address,
            street=place.street,
            place=None,
            kind=SERVICE,
            service_name=self.service.name,
            due_on=due_on,
            reason=f"{self.service.name} every {INTERVAL_MONTHS} months",
            language=place.customer.language,
            last_contact_on=None,
            state="ready",
            channel=Channel.EMAIL,
            recipient=place.customer.email,
            consent="",
            why_not="",
            price_cents=None,
            minutes=0,
            chance=None,
            cause=Cause(fact, 0, Decimal(0)),
        )


def campaigns_store(company: Company, *, today: date, seed: int) -> None:
    """One campaign a month; whoever booked in the demo's history did so after it, more of those who were told."""
    HoldingBack.objects.filter(pk=holding_back_get().pk).update(seed=f"demo-{seed}")
    _write_own_words(today)
    service = Service.objects.get(code=SERVICE)
    used: set[int] = set()
    for number, months in enumerate(MONTHS_AGO):
        campaign = _Campaign(company, service, next_working_day(campaign_of(today) - relativedelta(months=months)))
        came = _came(campaign.sent_on)
        places = _places(campaign.sent_on, used)
        booked = [place for place in places if place.pk in came]
        others = [place for place in places if place.pk not in came]
        told = [*booked[:TOLD_CAME], *others[:TOLD]]
        held = [*booked[TOLD_CAME : TOLD_CAME + number % 2], *others[TOLD : TOLD + HELD]]
        _tell_all(campaign, told, came)
        for place in held:
            _hold_back(campaign, place)
        used |= {place.customer_id for place in (*told, *held)}


def _write_own_words(today: date) -> None:
    """The owner's own sentence about one kind of thing, in English mail."""
    own_words_set(
        kind=SERVICE, cause=CauseKind.INTERVAL.value, language=Language.ENGLISH, channel=Channel.EMAIL,
        words=OWN_WORDS, actor=None, now=at(today, OFFICE_OPENS),
    )  # fmt: skip


def _tell_all(campaign: _Campaign, places: Sequence[Property], came: Mapping[int, int]) -> None:
    """Not everything is reported as delivered, and not everybody who books does so through the link."""
    for number, place in enumerate(places):
        _tell(campaign, place, is_delivered=number % UNDELIVERED_EVERY != 0)
        if place.pk in came and number % 10 < ANSWERED_OF_TEN:
            _answer_yes(campaign, place, came[place.pk])


def _came(sent_on: date) -> dict[int, int]:
    """By property: the job that was taken down in the time of the campaign."""
    began = at(sent_on + timedelta(days=1), 0)
    jobs = Job.objects.filter(created_at__range=(began, began + ANSWERED_WITHIN - timedelta(days=2)))
    return dict(jobs.filter(callback_of__isnull=True).order_by("-pk").values_list("property", "pk"))


def _places(sent_on: date, used: set[int]) -> list[Property]:
    """One property of each past customer with a mailbox who never refused and was in no earlier campaign."""
    refused = Consent.objects.filter(given=False).values("customer")
    known = Visit.objects.filter(work_date__lt=sent_on).values("job__property")
    places = Property.objects.filter(pk__in=known).exclude(customer__in=refused).exclude(customer__email="")
    by_customer = {place.customer_id: place for place in places.select_related("customer").order_by("-pk")}
    return [place for customer, place in sorted(by_customer.items()) if customer not in used]


def _tell(campaign: _Campaign, place: Property, *, is_delivered: bool) -> None:
    item = campaign.item(place)
    draft = compose([item], campaign.company, today=campaign.sent_on)
    reminder_sent(item, draft, on=campaign.sent_on, was_drawn=True, is_delivered=is_delivered)


def _answer_yes(campaign: _Campaign, place: Property, job: int) -> None:
    ReminderAnswer.objects.create(
        customer=place.customer, written_on=campaign.sent_on, kind=AnswerKind.YES, jobs=[job],
        at=at(campaign.sent_on + timedelta(days=1), OFFICE_OPENS),
    )  # fmt: skip


def _hold_back(campaign: _Campaign, place: Property) -> None:
    item = campaign.item(place)
    HeldBack.objects.create(
        property=place, kind=item.kind, due_on=item.due_on, message_key=f"reminder:{item.key}",
        at=at(campaign.sent_on, OFFICE_OPENS + 60),
    )  # fmt: skip
