"""A few reminders that went out some weeks ago with what came back, and some texts that came in."""

from dataclasses import replace
from datetime import date, timedelta

from jobs.customers.models import Customer
from jobs.reminders.answers import Answer, answer_take, offer_get
from jobs.reminders.composing import Draft, compose
from jobs.reminders.inbound import inbound_text_take
from jobs.reminders.kept import reminder_keep
from jobs.reminders.models import Reminder
from jobs.reminders.selectors import DueItem, due_list
from jobs.reminders.services import PURPOSE
from routing.demo.domain.company import next_working_day
from routing.demo.services.house_rows import OFFICE_OPENS, at
from shared.company.models import Company
from shared.outbox.models import Message, MessageState

REMINDED = 6
SENT_DAYS_AGO = 20
# Days after the message, and what came; a yes names a day of the coming week.
ANSWERS = (
    (1, Answer("not_now", months=6, note="We are painting first")),
    (1, Answer("not_now", months=3)),
    (SENT_DAYS_AGO - 1, Answer("yes", note="Please mind the roses at the south wall")),
    (2, Answer("sold")),
    (2, Answer("never")),
)
TEXTS = (
    "Thursday works for us, thank you",
    "Can you stop by on Monday and look at the gutters?",
    "Que hora llegan manana?",
)


def reminders_store(company: Company, *, today: date) -> None:
    """Messages that were sent about some of what is due, each with its reminder."""
    sent_on = next_working_day(today - timedelta(days=SENT_DAYS_AGO))
    latest_due = sent_on + timedelta(days=company.reminder_lead_days)
    ready = [item for item in due_list(today=today) if item.is_ready and item.due_on <= latest_due]
    by_customer = {item.customer_id: item for item in reversed(ready)}
    for item in sorted(by_customer.values(), key=lambda item: item.key)[:REMINDED]:
        reminder_sent(item, compose([item], company, today=sent_on), on=sent_on)
    _answered(sent_on, next_working_day(today + timedelta(days=5)))
    _texts(sent_on)


def _answered(sent_on: date, free: date) -> None:
    """Most of those who were reminded answered, each in another way."""
    told = Reminder.objects.order_by("property__customer", "pk").values_list("property__customer", flat=True)
    for customer_id, (days, answer) in zip(dict.fromkeys(told), ANSWERS, strict=False):
        offer = offer_get(customer_id=customer_id, written_on=sent_on)
        if answer.kind == "yes":
            answer = replace(answer, reminder_ids=[thing.reminder.pk for thing in offer.things], day=free)
        moment = at(sent_on + timedelta(days=days), OFFICE_OPENS)
        answer_take(offer=offer, answer=answer, free_days=lambda: [free], now=moment)


def _texts(sent_on: date) -> None:
    """From people who are not due, so that nobody on the due list is held back by a text that waits to be read."""
    waiting = {item.customer_id for item in due_list(today=sent_on + timedelta(days=SENT_DAYS_AGO))}
    people = Customer.objects.exclude(phone_e164="").exclude(pk__in=waiting).order_by("-pk")
    for number, (person, body) in enumerate(zip(people[: len(TEXTS)], TEXTS, strict=False)):
        moment = at(sent_on + timedelta(days=SENT_DAYS_AGO - 1), OFFICE_OPENS + 7 * number)
        inbound_text_take(event=f"demo-{number}", sender=person.phone_e164, body=body, at=moment)


def reminder_sent(
    item: DueItem, draft: Draft, *, on: date, was_drawn: bool = False, is_delivered: bool = False
) -> None:
    """The message and its reminder as if the office had sent it on that day."""
    moment = at(on, OFFICE_OPENS + 60)
    message = Message.objects.create(
        dedupe_key=f"reminder:{item.key}",
        purpose=PURPOSE,
        channel=draft.channel,
        recipient=draft.recipient,
        recipient_name=draft.customer_name,
        language=draft.language,
        subject=draft.subject,
        body=draft.body,
        headers=draft.headers,
        state=MessageState.SENT,
        attempts=1,
        created_at=moment,
        claimed_at=moment,
        finished_at=moment,
        delivered_at=moment if is_delivered else None,
    )
    reminder_keep(item, message, at=moment, was_drawn=was_drawn)
