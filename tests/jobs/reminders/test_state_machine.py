"""Any sequence of falling due, opting out, complaining, agreeing, queueing, sending, merging and moved clocks keeps the
promises:

never to somebody who opted out, under whichever entry and in whatever words, nor to an address that was reported; never
twice about one due date, never outside the hours or on a holiday, also on the days when clocks change; never without
consent for a text; one confirmation of an opt-out, in time; and never again what may have arrived, unless the office
decides so."""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from unittest import mock
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from jobs.customers.models import Customer
from jobs.customers.services import consent_record, customer_merge
from jobs.reminders.inbound import CONFIRMATION, inbound_text_take
from jobs.reminders.models import Reminder
from jobs.reminders.selectors import due_list
from jobs.reminders.services import opt_out_record, reminders_queue
from jobs.work.models import ServiceInterval
from shared import clock
from shared.errors import Refused
from shared.holidays import holidays_of
from shared.outbox import dispatcher
from shared.outbox.delivery import delivery_report_take
from shared.outbox.errors import NotSent
from shared.outbox.models import Message
from shared.outbox.selectors import unknown_list
from shared.outbox.services import message_mark_sent, message_send_again, messages_dispatch, sending_switch_set
from tests import factories as make

# A place in each zone; Arizona keeps its clocks.
PLACES = {
    "America/New_York": (40.0, -76.0),
    "America/Chicago": (41.5, -93.5),
    "America/Phoenix": (33.5, -112.5),
    "America/Los_Angeles": (36.5, -119.5),
}
# Around the hours that are lost and doubled in 2026 (15 USC 260a), at the edges of the hours, and anywhere else.
ODD_MOMENTS = [
    datetime(2026, 6, 1, 16, tzinfo=UTC),
    datetime(2026, 3, 8, 6, 59, 59, 999_999, tzinfo=UTC),
    datetime(2026, 3, 8, 7, 0, 0, 1, tzinfo=UTC),
    datetime(2026, 3, 8, 12, tzinfo=UTC),
    datetime(2026, 3, 9, 0, 59, 59, 999_999, tzinfo=UTC),
    datetime(2026, 3, 9, 1, tzinfo=UTC),
    datetime(2026, 11, 1, 5, 30, tzinfo=UTC),
    datetime(2026, 11, 1, 6, 30, 0, 1, tzinfo=UTC),
    datetime(2026, 11, 1, 12, 59, 59, 999_999, tzinfo=UTC),
    datetime(2026, 11, 1, 13, tzinfo=UTC),
    datetime(2026, 11, 2, 1, 59, 59, tzinfo=UTC),
    datetime(2026, 11, 26, 17, tzinfo=UTC),  # Thanksgiving Day
    datetime(2026, 12, 25, 17, tzinfo=UTC),
]
STOPS = ["STOP", "s.t.o.p", "Stoppp!!", "remove me", "pare por favor", "no me escriban más", "\U0001f6d1"]
GAP_DAYS = 20
PEOPLE = st.integers(0, 2)
CHANNELS = st.sampled_from(["email", "text"])


def address_of(customer: Customer, channel: str) -> tuple[str, str]:
    return channel, (customer.email.lower() if channel == "email" else customer.phone_e164)


class Reminders(RuleBasedStateMachine):
    """Three entries, two of which share a mailbox and two a house; what the world outside sees is in `handed`.

    `people` are the customers as which the three go on; `entries` are the rows that they began as."""

    def __init__(self) -> None:
        super().__init__()
        self.undone = transaction.atomic()
        self.undone.__enter__()

    def teardown(self) -> None:
        """Each sequence starts from an empty database."""
        transaction.set_rollback(True)
        self.undone.__exit__(None, None, None)

    @initialize(zone=st.sampled_from(sorted(PLACES)), start=st.sampled_from(ODD_MOMENTS))
    def begin(self, zone: str, start: datetime) -> None:
        make.set_company(reminder_gap_days=GAP_DAYS, reminder_lead_days=30, timezone=zone)
        self.zone, self.now = zone, start
        self.service = make.make_service()
        self.people = [
            make.make_customer(email="shared@example.com", phone_e164="+15555550101"),
            make.make_customer(email="Shared@example.com", phone_e164="+15555550102"),
            make.make_customer(email="", phone_e164="+15555550103"),
        ]
        self.entries = list(self.people)
        latitude, longitude = PLACES[zone]
        self.places = [
            make.make_property(customer=person, street=street, latitude=latitude, longitude=longitude)
            for person, street in zip(self.people, ("1 Elm Street", "5 Ash Street", "5 ash st."), strict=True)
        ]
        # (channel, address) -> whether the last word was no; and whether anybody there ever agreed since.
        self.refused: set[tuple[str, str]] = set()
        self.agreed: set[tuple[str, str]] = set()
        self.closed: set[tuple[str, str]] = set()
        self.texts = 0
        self.handed: list[tuple[int, datetime]] = []
        self.uncertain: set[int] = set()
        self.sent_again: Counter[int] = Counter()
        self.broken: list[str] = []
        self.switched_on = True
        for person in range(3):
            self.falls_due(person, 0)

    # --- the world ---

    @contextmanager
    def at(self) -> Iterator[datetime]:
        with time_machine.travel(self.now, tick=False):
            yield self.now

    def address(self, person: int, channel: str) -> tuple[str, str]:
        return address_of(self.people[person], channel)

    @rule(minutes=st.integers(-60 * 24 * 3, 60 * 24 * 40))
    def the_clock_moves(self, minutes: int) -> None:
        self.now += timedelta(minutes=minutes)

    @rule(moment=st.sampled_from(ODD_MOMENTS), seconds=st.integers(-90_000, 90_000))
    def the_clock_is_set_near_a_change(self, moment: datetime, seconds: int) -> None:
        self.now = moment + timedelta(seconds=seconds)

    @rule(person=PEOPLE, days=st.integers(-60, 60))
    def falls_due(self, person: int, days: int) -> None:
        ServiceInterval.objects.update_or_create(
            property=self.places[person],
            service=self.service,
            defaults={"interval_months": 12, "next_due_on": self.now.date() + timedelta(days=days)},
        )

    @rule(person=PEOPLE, channel=CHANNELS, everything=st.booleans())
    def opts_out(self, person: int, channel: str, everything: bool) -> None:
        """Through the link of the entry that the person was when it was written."""
        entry = Customer.objects.get(pk=self.entries[person].pk)
        with self.at() as now:
            opt_out_record(customer=entry, channel=channel, everything=everything, wording="", source="t", now=now)
        for each in ["email", "text"] if everything else [channel]:
            for where in (self.address(person, each), address_of(entry, each)):
                self.refused.add(where)
                self.agreed.discard(where)

    @rule(person=PEOPLE, channel=CHANNELS)
    def opts_out_by_telephone(self, person: int, channel: str) -> None:
        with self.at():
            consent_record(customer=self.people[person], channel=channel, purpose="all", given=False, source="call")
        self.refused.add(self.address(person, channel))
        self.agreed.discard(self.address(person, channel))

    @rule(person=PEOPLE, words=st.sampled_from(STOPS), everything=st.booleans(), prompt=st.booleans())
    def texts_stop(self, person: int, words: str, everything: bool, prompt: bool) -> None:
        """From the number that the entry began with; the gateway tells of it twice."""
        self.texts += 1
        number = self.entries[person].phone_e164
        for _ in range(2):
            with self.at() as now:
                said = "stop all" if everything else words
                inbound_text_take(event=f"text-{self.texts}", sender=number, body=said, at=now)
        for each in ["email", "text"] if everything else ["text"]:
            self.refused.add(self.address(person, each))
            self.agreed.discard(self.address(person, each))
        self.refused.add(("text", number))
        self.agreed.discard(("text", number))
        if prompt:
            self.the_dispatcher_runs("")

    @precondition(lambda self: getattr(self, "handed", []))
    @rule(kind=st.sampled_from(["bounced", "complained"]), number=st.integers(0, 99))
    def a_provider_reports(self, kind: str, number: int) -> None:
        """About something that went out: the address is closed."""
        message = Message.objects.get(pk=self.handed[number % len(self.handed)][0])
        self.texts += 1
        key = str(message.idempotency_key)
        delivery_report_take(event=f"report-{self.texts}", message_key=key, kind=kind, at=self.now)
        self.closed.add((message.channel, message.recipient.lower()))
        self.uncertain.discard(message.pk)

    @rule(person=PEOPLE, channel=CHANNELS)
    def agrees(self, person: int, channel: str) -> None:
        with self.at():
            consent_record(customer=self.people[person], channel=channel, purpose="reminder", given=True, source="call")
        self.refused.discard(self.address(person, channel))
        self.agreed.add(self.address(person, channel))

    @rule(keep=PEOPLE, other=PEOPLE)
    def customers_are_merged(self, keep: int, other: int) -> None:
        """An opt-out of either one holds for both, whichever address is used from then on."""
        stays, goes = self.people[keep], self.people[other]
        if stays == goes:
            return
        refusing = [
            channel
            for channel in ("email", "text")
            if {address_of(stays, channel), address_of(goes, channel)} & self.refused
        ]
        with self.at() as now:
            customer_merge(keep=stays, other=goes, actor=None, now=now)
        stays.refresh_from_db()
        self.people = [stays if person in (stays, goes) else person for person in self.people]
        for place in self.places:
            place.refresh_from_db()
        self.places = [place.joined_into or place for place in self.places]
        for channel in refusing:
            self.refused.add(address_of(stays, channel))
            self.agreed.discard(address_of(stays, channel))

    # --- the office and the dispatcher ---

    @rule(times=st.integers(1, 2), everything=st.booleans())
    def the_office_queues(self, times: int, everything: bool) -> None:
        with self.at() as now:
            items = due_list(today=clock.local_date(self.zone, now), lead_days=60)
            keys = [item.key for item in items if everything or item.is_ready]
            for _ in range(times):
                reminders_queue(keys=keys, actor=None, now=now)

    @rule(trouble=st.sampled_from(["", "", "refused", "final", "unknown", "killed"]))
    def the_dispatcher_runs(self, trouble: str) -> None:
        def deliver(message: Message) -> str:
            if trouble in ("refused", "final"):
                raise NotSent("no", again=trouble == "refused")
            self.hand_over(message)
            if trouble:
                self.uncertain.add(message.pk)
                raise KeyboardInterrupt if trouble == "killed" else TimeoutError
            return "taken"

        with self.at() as now, mock.patch.object(dispatcher, "deliver", deliver):
            try:
                messages_dispatch(now=now)
            except KeyboardInterrupt:
                return

    @rule(
        trouble=st.sampled_from(["", "", "unknown"]),
        minute=st.integers(7 * 60, 22 * 60),
        caller=st.sampled_from([None, None, 0, 2]),
        again=st.booleans(),
        report=st.sampled_from(["", "", "", "", "bounced", "complained"]),
        twice=st.sampled_from([None, None, None, None, (2, 1), (0, 1)]),
    )
    def a_working_day(
        self, trouble: str, minute: int, caller: int | None, again: bool, report: str, twice: tuple[int, int] | None
    ) -> None:
        """Two months on: what usually happens, so that most sequences get far; one may call in between, and the office
        may send again what nobody knows."""
        later = self.now.astimezone(ZoneInfo(self.zone)).date() + timedelta(days=61)
        self.now = clock.at_minute(later, minute, self.zone)
        for person in range(3):
            self.falls_due(person, 0)
        self.the_office_queues(1, False)
        if caller is not None:
            if caller == 0:
                self.opts_out_by_telephone(caller, "email")
            else:
                self.texts_stop(caller, "STOP", False, True)
        self.the_dispatcher_runs(trouble)
        if again and unknown_list(now=self.now).exists():
            self.the_office_decides_about_an_unknown_one(False)
            self.the_dispatcher_runs("")
        if report and self.handed:
            self.a_provider_reports(report, len(self.handed) - 1)
        if twice:
            self.customers_are_merged(*twice)

    def hand_over(self, message: Message) -> None:
        """What must be true of every single message that goes out; the dispatcher would swallow an error here."""
        where, local = (message.channel, message.recipient.lower()), self.now.astimezone(ZoneInfo(self.zone))
        if message.purpose == CONFIRMATION:
            self.broken += [] if self.switched_on and self.now <= message.not_after else ["a confirmation in time"]
            self.handed.append((message.pk, self.now))
            return
        self.broken += [
            promise
            for promise, kept in {
                "the switch is on": self.switched_on,
                "nobody there opted out": where not in self.refused,
                "nobody there complained": where not in self.closed,
                "no holiday": local.date() not in holidays_of("US"),
                "texts need consent": message.channel == "email" or where in self.agreed,
                "inside the hours": 8 <= local.hour < 21,
                "not late": message.not_after is None or self.now <= message.not_after,
            }.items()
            if not kept
        ]
        self.handed.append((message.pk, self.now))

    @rule(on=st.booleans())
    def the_switch_is_thrown(self, on: bool) -> None:
        sending_switch_set(is_on=on, reason="test", actor=None, now=self.now)
        self.switched_on = on

    @precondition(lambda self: Message.objects.filter(state__in=("failed", "dropped")).exists())
    @rule()
    def the_office_sends_a_failed_one_again(self) -> None:
        message = Message.objects.filter(state__in=("failed", "dropped")).order_by("id").first()
        assert message
        with suppress(Refused):  # its time is over
            message_send_again(message_id=message.pk, reason="test", actor=None, now=self.now)

    @precondition(lambda self: unknown_list(now=self.now).exists())
    @rule(arrived=st.booleans())
    def the_office_decides_about_an_unknown_one(self, arrived: bool) -> None:
        """It knows that the message arrived, or sends it again on purpose."""
        message = unknown_list(now=self.now).first()
        assert message
        if arrived:
            message_mark_sent(message_id=message.pk, reason="test", actor=None, now=self.now)
        else:
            try:
                message_send_again(message_id=message.pk, reason="test", actor=None, now=self.now)
            except Refused:  # its time is over: it stays unknown
                return
            self.sent_again[message.pk] += 1
        self.uncertain.discard(message.pk)

    # --- the promises ---

    @invariant()
    def every_message_kept_the_promises(self) -> None:
        assert getattr(self, "broken", []) == []

    @invariant()
    def nobody_hears_twice(self) -> None:
        times = Counter(number for number, _ in getattr(self, "handed", []))
        again = getattr(self, "sent_again", Counter())
        assert all(count <= 1 + again[number] for number, count in times.items())

    @invariant()
    def what_may_have_arrived_stays_unknown(self) -> None:
        pending = Message.objects.filter(pk__in=getattr(self, "uncertain", set()))
        assert all(message.state == "sending" for message in pending)

    @invariant()
    def an_opt_out_is_confirmed_once(self) -> None:
        confirmations = Message.objects.filter(purpose=CONFIRMATION)
        assert confirmations.count() <= getattr(self, "texts", 0)
        assert confirmations.count() == len(set(confirmations.values_list("dedupe_key", flat=True)))

    @invariant()
    def each_due_date_is_written_about_once(self) -> None:
        rows = list(Reminder.objects.values_list("property_id", "kind", "due_on"))
        assert len(rows) == len(set(rows))

    @invariant()
    def all_handed_over_are_accounted_for(self) -> None:
        handed = {number for number, _ in getattr(self, "handed", [])}
        assert set(Message.objects.filter(state="sent").values_list("pk", flat=True)) <= handed


@pytest.mark.django_db
def test_the_promises_hold() -> None:
    """In every sequence."""
    run_state_machine_as_test(
        Reminders,
        settings=settings(
            max_examples=35, stateful_step_count=20, deadline=None, suppress_health_check=list(HealthCheck)
        ),
    )


@pytest.mark.django_db
def test_the_sequences_are_not_idle() -> None:
    """What the random ones are made of does send, confirm, report, hold back and merge."""
    machine = Reminders()
    machine.begin(zone="America/New_York", start=ODD_MOMENTS[0])
    try:
        machine.agrees(2, "text")
        machine.a_working_day("", 10 * 60, 2, False, "bounced", (2, 1))
        states = Counter(Message.objects.values_list("state", flat=True))
        assert Counter(Message.objects.values_list("purpose", flat=True))[CONFIRMATION] == 1
        assert machine.closed
        assert len({person.pk for person in machine.people}) == 2
        assert states["sent"] == len(machine.handed) >= 2
        assert machine.broken == []
    finally:
        machine.teardown()
