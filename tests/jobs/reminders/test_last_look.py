"""Reminders that wait in one run: what happens after the run began stops those that have not gone yet. And a message
takes a few queries only."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from unittest import mock

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.customers.models import Customer
from jobs.customers.services import consent_record
from jobs.reminders.inbound import inbound_text_take
from jobs.reminders.models import InboundText
from jobs.reminders.selectors import due_list
from jobs.reminders.services import opt_out_record, reminders_queue
from jobs.work.models import ServiceInterval
from shared.outbox import dispatcher
from shared.outbox.delivery import delivery_report_take
from shared.outbox.models import Message
from shared.outbox.services import messages_dispatch, sending_switch_set
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)


def queue_for(*customers: Customer) -> None:
    """A reminder for each, in this order."""
    make.set_company()
    for customer in customers:
        make.make_interval(property=make.make_property(customer=customer))
    keys = [item.key for item in due_list(today=date(2026, 6, 1))]
    with mock.patch("jobs.reminders.services.dispatch_soon"):
        assert reminders_queue(keys=keys, actor=None, now=NOW, hold_back=False).reminders == len(customers)


def opts_out_by_telephone(customer: Customer) -> None:
    consent_record(customer=customer, channel="email", purpose="reminder", given=False, source="call")


def wants_nothing_at_all(customer: Customer) -> None:
    """Said once, and then yes to reminders alone: that does not open the way for everything, so nothing goes."""
    consent_record(customer=customer, channel="email", purpose="all", given=False, source="call")
    consent_record(customer=customer, channel="email", purpose="reminder", given=True, source="call")


def opts_out_by_the_link(customer: Customer) -> None:
    opt_out_record(customer=customer, channel="email", everything=False, wording="", source="page", now=NOW)


def somebody_with_the_same_mailbox_opts_out(customer: Customer) -> None:
    opts_out_by_telephone(make.make_customer(email=customer.email.upper()))


def writes_what_may_be_an_opt_out(customer: Customer) -> None:
    inbound_text_take(event="1", sender=customer.phone_e164, body="can you stop by?", at=NOW)
    assert InboundText.objects.get().meaning == "unclear"


def mailbox_is_closed(customer: Customer) -> None:
    """Another message to the same mailbox came back."""
    older = make.make_message(recipient=customer.email.upper(), state="sent", claimed_at=NOW)
    delivery_report_take(event="1", message_key=str(older.idempotency_key), kind="bounced", at=NOW)
    Message.objects.filter(state="dropped").update(state="waiting")  # as if it had been written after that


def address_changes(customer: Customer) -> None:
    Customer.objects.filter(pk=customer.pk).update(email="elsewhere@example.com")


def property_is_given_away(customer: Customer) -> None:
    customer.properties.update(customer=make.make_customer())


def switch_is_thrown(customer: Customer) -> None:
    sending_switch_set(is_on=False, reason="a wrong price", actor=None, now=NOW)


@pytest.mark.parametrize(
    "happens",
    [
        opts_out_by_telephone,
        wants_nothing_at_all,
        opts_out_by_the_link,
        somebody_with_the_same_mailbox_opts_out,
        writes_what_may_be_an_opt_out,
        mailbox_is_closed,
        address_changes,
        property_is_given_away,
        switch_is_thrown,
    ],
)
def test_what_happens_during_the_run_stops_the_next_message(happens: Callable[[Customer], None]) -> None:
    """While the first message is on its way, when the turns of both are known already."""
    first, second = make.make_customer(), make.make_customer()
    queue_for(first, second)
    handed: list[str] = []

    def deliver(message: Message) -> str:
        handed.append(message.recipient)
        happens(second)
        return ""

    with mock.patch.object(dispatcher, "deliver", deliver):
        messages_dispatch(now=NOW)
    assert handed == [first.email]
    assert Message.objects.get(recipient__iexact=second.email, purpose="reminder").state in ("dropped", "waiting")


def test_nothing_happens_and_both_go() -> None:
    """So that the test above can fail for its own reason only."""
    first, second = make.make_customer(), make.make_customer()
    queue_for(first, second)
    assert messages_dispatch(now=NOW).sent == 2


def queries_for(number: int) -> int:
    """Of a run that sends so many reminders, by mail and by text."""
    customers = [make.make_customer(**({} if each % 2 else {"email": ""})) for each in range(number)]
    for customer in customers:
        make.make_consent(customer=customer, channel="text", given=True)
    ServiceInterval.objects.all().delete()
    queue_for(*customers)
    with CaptureQueriesContext(connection) as asked:
        assert messages_dispatch(now=NOW).sent == number
    return len(asked)


def test_a_reminder_takes_few_queries() -> None:
    """The lock, the look, who it is about, what was said there, the claim, the result, two for the transaction; and one
    for a mail's sender."""
    messages_dispatch(now=NOW)  # makes the rows of the settings
    few, many = queries_for(2), queries_for(12)
    assert (many - few) / 10 <= 8.5  # every other one is a mail
    assert few <= 2 * 8.5 + 14
