"""A few reminders that went out some weeks ago, so that the due list shows what was already said."""

from datetime import date, timedelta

from jobs.reminders.composing import Draft, compose
from jobs.reminders.models import Reminder
from jobs.reminders.selectors import DueItem, due_list
from jobs.reminders.services import PURPOSE
from routing.demo.domain.company import next_working_day
from routing.demo.services.house_rows import OFFICE_OPENS, at
from shared.company.models import Company
from shared.outbox.models import Message, MessageState

REMINDED = 6
SENT_DAYS_AGO = 20


def reminders_store(company: Company, *, today: date) -> None:
    """Messages that were sent about some of what is due, each with its reminder."""
    sent_on = next_working_day(today - timedelta(days=SENT_DAYS_AGO))
    latest_due = sent_on + timedelta(days=company.reminder_lead_days)
    ready = [item for item in due_list(today=today) if item.is_ready and item.due_on <= latest_due]
    by_customer = {item.customer_id: item for item in reversed(ready)}
    for item in sorted(by_customer.values(), key=lambda item: item.key)[:REMINDED]:
        _sent(item, compose([item], company, today=sent_on), sent_on)


def _sent(item: DueItem, draft: Draft, on: date) -> None:
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
    )
    Reminder.objects.create(
        property_id=item.property_id,
        kind=item.kind,
        due_on=item.due_on,
        reason=item.reason[:200],
        message=message,
        created_at=moment,
    )
