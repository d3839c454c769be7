"""A message leaves once, inside its hours, or it is shown that nobody knows."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import chain, repeat
from typing import Any
from unittest import mock

import pytest
from django.db import connection

from shared.background.services import run_task
from shared.errors import Conflict, Refused
from shared.outbox import dispatcher
from shared.outbox.errors import NotSent
from shared.outbox.guards import guard_register
from shared.outbox.models import Message
from shared.outbox.selectors import unknown_list
from shared.outbox.services import (
    message_call_off,
    message_mark_sent,
    message_queue,
    message_send_again,
    messages_dispatch,
    sending_limits_set,
    sending_switch_set,
)
from shared.outbox.turns import due_turns
from tests import factories as make

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 16, tzinfo=UTC)  # 12:00 in New York
ZONE = "America/New_York"
Deliver = Callable[[Message], str]


@pytest.fixture
def sent() -> Iterator[list[int]]:
    """The ids that were handed to the channel, in order."""
    taken: list[int] = []

    def deliver(message: Message) -> str:
        assert not connection.in_atomic_block or len(connection.savepoint_ids) == 0, "sent inside a transaction"
        taken.append(message.pk)
        return f"reference-{message.pk}"

    with mock.patch.object(dispatcher, "deliver", deliver):
        yield taken


def answering(error: Exception) -> Any:
    return mock.patch.object(dispatcher, "deliver", mock.Mock(side_effect=error))


def test_a_waiting_message_is_sent_once(sent: list[int]) -> None:
    """The second run finds nothing; the row says when, how often and under which reference."""
    message = make.make_message()
    assert messages_dispatch(now=NOON).sent == 1
    assert messages_dispatch(now=NOON).sent == 0
    message.refresh_from_db()
    assert (sent, message.state, message.attempts) == ([message.pk], "sent", 1)
    assert (message.provider_reference, message.finished_at) == (f"reference-{message.pk}", NOON)


def test_what_is_handed_over_is_the_row() -> None:
    """Every column as it is stored at that moment, the claim included."""
    message = make.make_message(
        headers={"List-Unsubscribe": "<https://example.com/>"}, quiet_zone=ZONE, is_promotion=True, problem="once",
        not_before=NOON - timedelta(hours=1), not_after=NOON + timedelta(hours=1), attempts=2,
    )  # fmt: skip
    seen: list[bool] = []

    def deliver(handed: Message) -> str:
        stored = Message.objects.get(pk=message.pk)
        names = [column.attname for column in Message._meta.concrete_fields]
        seen.append([getattr(handed, name) for name in names] == [getattr(stored, name) for name in names])
        assert (handed.state, handed.attempts, handed.claimed_at, handed.problem) == ("sending", 3, NOON, "")
        return ""

    with mock.patch.object(dispatcher, "deliver", deliver):
        assert messages_dispatch(now=NOON).sent == 1
    assert seen == [True]


def test_the_longest_due_goes_first_and_the_limit_holds(sent: list[int]) -> None:
    """Rows without a time first, then by time; no more than asked for."""
    late = make.make_message(not_before=NOON - timedelta(hours=1))
    early = make.make_message(not_before=NOON - timedelta(hours=2))
    anytime = make.make_message()
    make.make_message(not_before=NOON + timedelta(seconds=1))
    assert messages_dispatch(now=NOON, limit=2).sent == 2
    assert messages_dispatch(now=NOON).sent == 1
    assert sent == [anytime.pk, early.pk, late.pk]


def test_a_crash_between_claim_and_send_is_shown_and_never_resent() -> None:
    """Killed while sending: the row stays in `sending`, no later run touches it, the office sees it."""
    message = make.make_message()
    with answering(KeyboardInterrupt()), pytest.raises(KeyboardInterrupt):
        messages_dispatch(now=NOON)
    message.refresh_from_db()
    assert message.state == "sending"
    with mock.patch.object(dispatcher, "deliver", mock.Mock()) as deliver:
        messages_dispatch(now=NOON + timedelta(days=1))
        assert not deliver.called
    assert not unknown_list(now=NOON + timedelta(minutes=4))
    assert list(unknown_list(now=NOON + timedelta(minutes=5))) == [message]


def test_an_error_of_unknown_meaning_leaves_the_result_open() -> None:
    """A time-out after the request was written may mean that it arrived: shown at once, not tried again."""
    message = make.make_message()
    with answering(TimeoutError("no answer")):
        assert messages_dispatch(now=NOON).unknown == 1
        assert messages_dispatch(now=NOON + timedelta(days=2)).unknown == 0
    message.refresh_from_db()
    assert (message.state, message.attempts, message.problem) == ("sending", 1, "TimeoutError: no answer")
    assert list(unknown_list(now=NOON)) == [message]


def test_only_certain_refusals_are_tried_again_and_not_for_ever() -> None:
    """1, 5, 15, 60 and 240 minutes later, then it has failed."""
    message = make.make_message()
    now, waits = NOON, []
    with answering(NotSent("refused", again=True)) as _:
        while messages_dispatch(now=now).again:
            message.refresh_from_db()
            assert messages_dispatch(now=message.not_before - timedelta(seconds=1)).again == 0
            waits.append((message.not_before - now) // timedelta(minutes=1))
            now = message.not_before
    message.refresh_from_db()
    assert (waits, message.state, message.attempts) == ([1, 5, 15, 60, 240], "failed", 6)


def test_a_final_refusal_fails_at_once() -> None:
    """Nothing is gained by sending to a mailbox that does not exist again."""
    message = make.make_message()
    with answering(NotSent("no such mailbox", again=False)):
        assert messages_dispatch(now=NOON).failed == 1
    message.refresh_from_db()
    assert (message.state, message.problem) == ("failed", "no such mailbox")


def test_quiet_hours_put_a_message_off(sent: list[int]) -> None:
    """At 22:00 it waits for 8:00 at that place, and goes then."""
    message = make.make_message(quiet_zone=ZONE)
    night = datetime(2026, 6, 2, 2, tzinfo=UTC)
    assert messages_dispatch(now=night).later == 1
    message.refresh_from_db()
    assert (message.state, message.not_before) == ("waiting", datetime(2026, 6, 2, 12, tzinfo=UTC))
    assert messages_dispatch(now=message.not_before).sent == 1


def test_a_slow_run_does_not_slide_into_the_quiet_hours(sent: list[int]) -> None:
    """The clock is read before each message: the one whose turn comes at 21:00 waits."""
    make.make_message(quiet_zone=ZONE)
    make.make_message(quiet_zone=ZONE)
    last_second = datetime(2026, 6, 2, 0, 59, 59, tzinfo=UTC)
    ticks = chain([last_second, last_second], repeat(last_second + timedelta(seconds=1)))
    result = messages_dispatch(now=last_second, clock=lambda: next(ticks))
    assert (result.sent, result.later) == (1, 1)


def test_a_run_ends_after_its_seconds_and_says_that_more_is_due(sent: list[int]) -> None:
    """Others may have the thread then; the next run does the rest."""
    for _ in range(3):
        make.make_message()
    ticks = (NOON + timedelta(seconds=15 * n) for n in range(100))
    first = messages_dispatch(now=NOON, seconds=20, clock=lambda: next(ticks))
    second = messages_dispatch(now=NOON)
    assert (first.sent, first.more, second.sent, second.more) == (1, True, 2, False)


def test_the_task_goes_on_until_nothing_is_due(sent: list[int], django_capture_on_commit_callbacks: Any) -> None:
    """More than one run's worth leaves, run by run, with one call of the clock, where the pace allows it."""
    sending_limits_set(actor=None, mails_per_minute=1000)
    for _ in range(205):
        make.make_message()
    with django_capture_on_commit_callbacks(execute=True):
        run_task("outbox.dispatch", {})
    assert len(sent) == len(set(sent)) == 205


def test_a_run_that_gets_nowhere_is_not_repeated(sent: list[int]) -> None:
    """Another dispatcher has them all: no endless line of tasks."""
    make.make_message()
    with mock.patch.object(dispatcher, "_send_one", return_value="taken"):
        assert not messages_dispatch(now=NOON).more


def test_late_messages_are_dropped(sent: list[int]) -> None:
    """After its last moment a message is dropped, also while sending is off; at that very moment it still goes."""
    late = make.make_message(not_after=NOON - timedelta(seconds=1))
    just = make.make_message(not_after=NOON)
    result = messages_dispatch(now=NOON)
    late.refresh_from_db()
    assert (result.dropped, late.state, sent) == (1, "dropped", [just.pk])


def test_the_switch_stops_everything(sent: list[int], office: Any) -> None:
    """Off: nothing leaves, and the rows keep waiting. On again: they go."""
    make.make_message()
    sending_switch_set(is_on=False, reason="wrong price in the text", actor=office, now=NOON)
    result = messages_dispatch(now=NOON)
    assert (result.sent, result.is_on, sent) == (0, False, [])
    sending_switch_set(is_on=True, reason="mended", actor=office, now=NOON)
    assert messages_dispatch(now=NOON).sent == 1


def test_the_switch_stops_a_run_under_way(office: Any) -> None:
    """Switched off while the first message is on its way: the second stays."""
    make.make_message()
    make.make_message()

    def deliver(message: Message) -> str:
        sending_switch_set(is_on=False, reason="stop", actor=office, now=NOON)
        return ""

    with mock.patch.object(dispatcher, "deliver", deliver):
        result = messages_dispatch(now=NOON)
    assert (result.sent, result.is_on, Message.objects.filter(state="waiting").count()) == (1, False, 1)


def test_the_switch_is_looked_at_last(office: Any, sent: list[int]) -> None:
    """Thrown after the run has begun and before a message is claimed: it stays."""
    message = make.make_message()

    def clock() -> datetime:
        sending_switch_set(is_on=False, reason="stop", actor=office, now=NOON)
        return NOON

    result = messages_dispatch(now=NOON, clock=clock)
    message.refresh_from_db()
    assert (result.sent, result.is_on, sent, message.state) == (0, False, [], "waiting")


def test_a_message_that_cannot_be_checked_keeps_nobody_waiting(sent: list[int]) -> None:
    """A guard that fails would fail again at each run: its message waits aside and says why, the next one goes."""

    def broken(message: Message) -> str:
        raise ZeroDivisionError("no such wall")

    guard_register("broken", broken)
    stuck, good = make.make_message(purpose="broken"), make.make_message()
    result = messages_dispatch(now=NOON)
    stuck.refresh_from_db()
    assert (result.sent, result.later, sent) == (1, 1, [good.pk])
    assert (stuck.state, stuck.attempts, stuck.problem) == ("waiting", 0, "ZeroDivisionError: no such wall")
    assert stuck.not_before == NOON + timedelta(minutes=15)


def test_a_guard_has_the_last_word(sent: list[int]) -> None:
    """The room that wrote a message is asked in the claiming transaction; its reason is kept."""
    guard_register("guarded", lambda message: "no longer wanted" if message.body == "no" else "")
    make.make_message(purpose="guarded", body="yes")
    unwanted = make.make_message(purpose="guarded", body="no")
    assert messages_dispatch(now=NOON).sent == 1
    unwanted.refresh_from_db()
    assert (unwanted.state, unwanted.problem) == ("dropped", "no longer wanted")


def test_a_message_taken_by_another_dispatcher_is_left_alone(sent: list[int]) -> None:
    """Both saw it waiting; the conditional UPDATE lets one of them have it."""
    make.make_message()
    (turn,) = due_turns(NOON, 1, until=NOON)
    claimed, _ = dispatcher._claim(turn, NOON)
    assert claimed is not None
    assert dispatcher._send_one(turn, lambda: NOON) == "taken"
    assert sent == []


def test_queueing_twice_writes_once() -> None:
    """The same key gives the first message back, unchanged."""
    fields = {
        "channel": "email",
        "purpose": "note",
        "recipient": "a@example.com",
        "recipient_name": "A",
        "subject": "s",
    }
    first, new = message_queue(dedupe_key="k", body="one", **fields)
    second, again = message_queue(dedupe_key="k", body="two", **fields)
    assert (new, again, first.pk, second.body) == (True, False, second.pk, "one")


@pytest.mark.parametrize(
    ("channel", "recipient"),
    [
        ("email", "no address"),
        ("email", "a@example.com\nBcc: b@example.com"),
        ("text", "555-1234"),
        ("text", "+0123456789"),
        ("text", "+1234567890123456"),
        ("post", "a@example.com"),
    ],
)
def test_an_address_that_cannot_be_is_refused(channel: str, recipient: str) -> None:
    """Wrong addresses are named when the message is written, not when it is sent."""
    with pytest.raises(Refused):
        message_queue(
            dedupe_key="k",
            channel=channel,
            purpose="note",
            recipient=recipient,
            recipient_name="",
            subject="",
            body="b",
        )


def test_a_window_and_a_zone_that_cannot_be_are_refused() -> None:
    """Late before it may go; a zone that no list knows."""
    fields = {"channel": "email", "purpose": "n", "recipient": "a@example.com", "recipient_name": "", "subject": ""}
    with pytest.raises(Refused):
        message_queue(dedupe_key="k", body="b", not_before=NOON, not_after=NOON, **fields)
    with pytest.raises(Refused):
        message_queue(dedupe_key="k", body="b", quiet_zone="Mars/Base", **fields)


def test_the_office_settles_an_unknown_result(office: Any) -> None:
    """Marked as sent, or sent again under the same key so that the gateway can tell; each with a reason, kept."""
    from shared.events.models import Event

    one, two = make.make_message(), make.make_message()
    with answering(TimeoutError("no answer")):
        messages_dispatch(now=NOON)
    message_mark_sent(message_id=one.pk, reason="she called back", actor=office, now=NOON)
    message_send_again(message_id=two.pk, reason="not in the provider's list", actor=office, now=NOON)
    key = two.idempotency_key
    one.refresh_from_db(), two.refresh_from_db()
    assert (one.state, two.state, two.idempotency_key) == ("sent", "waiting", key)
    kinds = Event.objects.order_by("id").values_list("kind", "reason", "actor")
    assert list(kinds) == [
        ("message.marked_sent", "she called back", office.pk),
        ("message.sent_again", "not in the provider's list", office.pk),
    ]


def test_a_failed_message_is_sent_again_under_a_new_key(office: Any) -> None:
    """A gateway that remembers the failure must not answer from memory."""
    message = make.make_message()
    with answering(NotSent("no", again=False)):
        messages_dispatch(now=NOON)
    key = message.idempotency_key
    message_send_again(message_id=message.pk, reason="address mended", actor=office, now=NOON)
    message.refresh_from_db()
    assert (message.state, message.idempotency_key != key) == ("waiting", True)


@pytest.mark.parametrize(
    ("is_promotion", "ends_in", "after"),
    [(False, 2, 2), (False, None, 48), (True, 2, 48), (True, -1, 48), (False, -1, None)],
)
def test_sent_again_it_ends_when_what_it_says_does(
    office: Any, is_promotion: bool, ends_in: int | None, after: int | None
) -> None:
    """What somebody waits for keeps its own end, and is refused after it; an offer gets two more days."""
    ends = None if ends_in is None else NOON + timedelta(hours=ends_in)
    message = make.make_message(state="failed", is_promotion=is_promotion, not_after=ends)
    again = {"message_id": message.pk, "reason": "she asked", "actor": office, "now": NOON}
    if after is None:
        with pytest.raises(Refused, match="is over by now"):
            message_send_again(**again)
    else:
        assert message_send_again(**again).not_after == NOON + timedelta(hours=after)


def test_what_is_settled_or_on_its_way_cannot_be_sent_again(sent: list[int], office: Any) -> None:
    """Sent, waiting, and handed over a moment ago: Conflict. No reason: Refused."""
    done, waiting = make.make_message(), make.make_message(not_before=NOON + timedelta(days=1))
    on_its_way = make.make_message(state="sending", claimed_at=NOON - timedelta(seconds=30))
    messages_dispatch(now=NOON)
    for message in (done, waiting, on_its_way):
        with pytest.raises(Conflict):
            message_send_again(message_id=message.pk, reason="why not", actor=office, now=NOON)
    with pytest.raises(Refused):
        message_call_off(message_id=waiting.pk, reason="  ", actor=office, now=NOON)
    with pytest.raises(Conflict):
        message_call_off(message_id=done.pk, reason="too late", actor=office, now=NOON)


def test_a_late_result_does_not_overwrite_the_decision(office: Any) -> None:
    """The provider answers after the office marked the message as sent: the mark stays."""
    message = make.make_message()

    def deliver(claimed: Message) -> str:
        later = NOON + timedelta(minutes=6)
        message_mark_sent(message_id=claimed.pk, reason="saw it", actor=office, now=later)
        raise NotSent("refused after all", again=True)

    with mock.patch.object(dispatcher, "deliver", deliver):
        messages_dispatch(now=NOON)
    message.refresh_from_db()
    assert message.state == "sent"
