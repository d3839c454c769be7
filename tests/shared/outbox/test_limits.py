"""Pace, weekly limit and holidays: what holds a message back, and for how long."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any
from unittest import mock
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from shared import clock
from shared.background.services import run_task
from shared.outbox import dispatcher
from shared.outbox.domain.limits import MINUTE, WEEK, held_until, openings, room_this_minute
from shared.outbox.domain.quiet_hours import is_open, next_open
from shared.outbox.models import Message
from shared.outbox.services import messages_dispatch, sending_limits_set
from shared.outbox.turns import closed_put_off, due_turns, late_drop
from tests import factories as make

NOON = datetime(2026, 6, 1, 16, tzinfo=UTC)  # a Monday, 12:00 in New York
ZONES = ("America/New_York", "America/Chicago", "America/Phoenix", "Pacific/Honolulu")
MOMENTS = st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 31), timezones=st.just(UTC))


@pytest.fixture(autouse=True)
def nothing_leaves() -> Iterator[None]:
    with mock.patch.object(dispatcher, "deliver", return_value="reference"):
        yield


@pytest.mark.django_db
def test_each_channel_keeps_its_pace() -> None:
    """Five mails and two texts a minute: the rest goes in the minutes after, and none is lost."""
    sending_limits_set(actor=None, mails_per_minute=5, texts_per_minute=2)
    for _ in range(12):
        make.make_message()
    for number in range(5):
        make.make_message(channel="text", recipient=f"+1614555010{number}")
    left = [messages_dispatch(now=NOON + timedelta(minutes=minute)).sent for minute in range(4)]
    assert left == [7, 7, 3, 0]
    assert messages_dispatch(now=NOON + timedelta(minutes=4, seconds=30)).sent == 0


@pytest.mark.django_db
def test_the_pace_counts_the_last_sixty_seconds() -> None:
    """Ticks that come twice in a minute do not double it."""
    sending_limits_set(actor=None, mails_per_minute=3)
    for _ in range(6):
        make.make_message()
    sent = [messages_dispatch(now=NOON + timedelta(seconds=second)).sent for second in (0, 30, 59, 60, 90)]
    assert sent == [3, 0, 0, 3, 0]


@pytest.mark.django_db
def test_two_dispatchers_keep_one_pace() -> None:
    """The second finds more urgent ones after the first has made its list: together they send two a minute."""
    sending_limits_set(actor=None, mails_per_minute=2)
    for _ in range(2):
        make.make_message(not_before=NOON - timedelta(hours=1))
    sent_by_the_second = []

    def clock() -> datetime:
        if not sent_by_the_second:
            make.make_message()
            make.make_message()
            sent_by_the_second.append(messages_dispatch(now=NOON).sent)
        return NOON

    first = messages_dispatch(now=NOON, clock=clock)
    assert (first.sent, sent_by_the_second) == (0, [2])
    assert messages_dispatch(now=NOON + timedelta(minutes=1)).sent == 2


@pytest.mark.django_db
def test_what_nobody_asked_for_waits_for_its_week() -> None:
    """Messages of every kind count for the address, but only the unasked one is held back."""
    sending_limits_set(actor=None, most_per_week=2)
    person = {"recipient": "ann@example.com"}
    for _ in range(2):
        make.make_message(**person)
    messages_dispatch(now=NOON)
    unasked = make.make_message(is_promotion=True, recipient="Ann@example.com")
    make.make_message(purpose="letter", **person)
    result = messages_dispatch(now=NOON + timedelta(days=1))
    unasked.refresh_from_db()
    assert (result.sent, result.later, unasked.state) == (1, 1, "waiting")
    assert unasked.not_before == NOON + WEEK
    assert messages_dispatch(now=NOON + WEEK + timedelta(days=1, minutes=1)).sent == 1


@pytest.mark.django_db
def test_a_holiday_holds_back_what_nobody_asked_for() -> None:
    """Thursday, 26 November 2026 is Thanksgiving (5 USC 6103): the reminder goes on Friday at 8, the notice at once."""
    thanksgiving = datetime(2026, 11, 26, 17, tzinfo=UTC)
    unasked = make.make_message(is_promotion=True, quiet_zone="America/New_York")
    make.make_message(quiet_zone="America/New_York")
    result = messages_dispatch(now=thanksgiving)
    unasked.refresh_from_db()
    assert (result.sent, result.later) == (1, 1)
    assert unasked.not_before == datetime(2026, 11, 27, 13, tzinfo=UTC)


@pytest.mark.django_db
def test_limits_are_at_least_one() -> None:
    with pytest.raises(ValidationError, match="at least 1"):
        sending_limits_set(actor=None, mails_per_minute=0)


@pytest.mark.django_db
@pytest.mark.parametrize("day", [date(2026, 3, 7), date(2026, 10, 31)])
def test_many_due_at_nine_are_spread_within_the_hours(day: date) -> None:
    """Forty in each of four zones, on the days before clocks change: sent within the hours of each, at the pace."""
    sending_limits_set(actor=None, mails_per_minute=4)
    for zone in ZONES:
        nine = datetime(day.year, day.month, day.day, 20, 40, tzinfo=ZoneInfo(zone)).astimezone(UTC)
        Message.objects.bulk_create(
            Message(
                dedupe_key=f"{zone}-{number}", channel="email", purpose="note", body="b", created_at=nine,
                recipient=f"p{number}@{zone[-5:].lower().replace('_', '')}.example.com", not_before=nine,
                quiet_zone=zone, is_promotion=True,
            )
            for number in range(40)
        )  # fmt: skip
    start = datetime(day.year, day.month, day.day, 23, tzinfo=UTC)
    minutes = [start + timedelta(minutes=minute) for minute in range(26 * 60)]
    for now in minutes:
        if Message.objects.filter(state="waiting", not_before__lte=now).exists():
            messages_dispatch(now=now)
    sent = list(Message.objects.filter(state="sent").values_list("claimed_at", "quiet_zone"))
    assert len(sent) == 160
    assert all(at is not None and is_open(at, zone) for at, zone in sent)
    assert max(Counter(at for at, _zone in sent).values()) <= 4


@given(st.lists(MOMENTS, max_size=8), MOMENTS, st.integers(1, 4))
def test_no_seven_days_hold_more_than_the_limit(sent_at: list[datetime], now: datetime, most: int) -> None:
    """Sending when it is allowed again never makes any window of a week hold more than the limit, past ones aside."""
    before = [at for at in sent_at if at <= now]
    moment = held_until(before, now=now, most_per_week=most) or now
    assert moment >= now
    assert sum(moment - WEEK < at <= moment for at in before) < most


@given(
    st.lists(st.integers(-59_999, 59_999), max_size=12),
    st.lists(st.integers(0, 90_000), max_size=30),
    st.integers(1, 6),
)
def test_no_minute_holds_more_than_the_pace(earlier: list[int], calls: list[int], per_minute: int) -> None:
    """Whenever runs begin, in milliseconds, and whoever claimed before: leaving at the openings fills no minute beyond
    the pace, and an opening is at hand as soon as there is room."""
    left = [NOON + timedelta(milliseconds=each) for each in earlier]
    for call in sorted(calls):
        now = NOON + timedelta(milliseconds=call)
        lately = [at for at in left if abs(at - now) < MINUTE]
        free = openings(lately, per_minute=per_minute, now=now)
        assert (len(free), free) == (per_minute, sorted(free))
        assert free[0] >= now
        assert (free[0] == now) == (len(lately) < per_minute)
        if free[0] <= now + timedelta(seconds=5):
            assert sum(free[0] - MINUTE < at <= free[0] for at in left) < per_minute
            left.append(free[0])


@given(st.integers(1, 100), st.integers(0, 300))
def test_there_is_never_less_than_no_room(per_minute: int, left: int) -> None:
    assert room_this_minute(per_minute, left) == max(0, per_minute - left)


@given(MOMENTS, st.sampled_from(ZONES), st.sets(st.dates(date(2026, 1, 1), date(2026, 12, 31)), max_size=30))
def test_the_next_open_hour_is_no_holiday(at: datetime, zone: str, holidays: set[date]) -> None:
    """It is open then, never before the asked instant, and nothing open was passed over on the way."""
    opens = next_open(at, zone, holidays)
    assert opens >= at
    assert is_open(opens, zone, holidays)
    passed = (at + timedelta(hours=hour) for hour in range(int((opens - at) / timedelta(hours=1))))
    assert opens == at or not any(is_open(moment, zone, holidays) for moment in passed)


# --- whose turn it is ---


@pytest.mark.django_db
def test_what_somebody_waits_for_does_not_stand_in_line() -> None:
    """A note that the crew is on its way goes before the reminders that were written earlier, within the same pace."""
    sending_limits_set(actor=None, mails_per_minute=2)
    reminders = [make.make_message(is_promotion=True, not_before=NOON - timedelta(hours=4)) for _ in range(3)]
    note = make.make_message(created_at=NOON)
    assert messages_dispatch(now=NOON).sent == 2
    states = dict(Message.objects.values_list("pk", "state"))
    assert (states[note.pk], [states[each.pk] for each in reminders]) == ("sent", ["sent", "waiting", "waiting"])


@pytest.mark.django_db
def test_a_closed_zone_is_put_off_at_one_stroke(django_assert_max_num_queries: Any) -> None:
    """Three hundred at 21:00 in New York: they wait for the morning, and do not keep Honolulu waiting."""
    night = datetime(2026, 6, 2, 1, tzinfo=UTC)
    Message.objects.bulk_create(
        Message(
            dedupe_key=f"n{number}", channel="email", purpose="note", body="b", recipient=f"n{number}@example.com",
            quiet_zone="America/New_York", created_at=NOON,
        )
        for number in range(300)
    )  # fmt: skip
    open_still = make.make_message(quiet_zone="Pacific/Honolulu", not_before=night)
    with django_assert_max_num_queries(60):
        result = messages_dispatch(now=night)
    open_still.refresh_from_db()
    assert (result.later, result.sent, open_still.state) == (300, 1, "sent")
    assert set(Message.objects.filter(state="waiting").values_list("not_before", flat=True)) == {
        datetime(2026, 6, 2, 12, tzinfo=UTC)
    }


@pytest.mark.django_db
def test_closed_zones_keep_holidays_for_what_nobody_asked_for() -> None:
    """At 22:00 before Independence Day a promotion waits for the 5th, a note for the morning."""
    make.set_company(country="US")
    night = datetime(2029, 7, 4, 2, tzinfo=UTC)  # a Wednesday's eve in New York
    unasked = make.make_message(quiet_zone="America/New_York", is_promotion=True)
    note = make.make_message(quiet_zone="America/New_York")
    assert messages_dispatch(now=night).later == 2
    unasked.refresh_from_db(), note.refresh_from_db()
    assert (unasked.not_before.day, note.not_before.day) == (5, 4)


@pytest.mark.django_db
def test_a_run_says_when_the_pace_leaves_room_again() -> None:
    """A minute after the claim that used up the pace; nothing where nothing is due."""
    sending_limits_set(actor=None, mails_per_minute=2)
    assert messages_dispatch(now=NOON).room_at is None
    for _ in range(3):
        make.make_message()
    first = messages_dispatch(now=NOON)
    again = messages_dispatch(now=NOON + timedelta(seconds=58))
    assert (first.sent, first.room_at, again.sent, again.room_at) == (2, NOON + timedelta(minutes=1), 0, first.room_at)
    last = messages_dispatch(now=NOON + timedelta(minutes=1))
    assert (last.sent, last.more, last.room_at) == (1, False, None)


@pytest.mark.django_db
def test_a_run_that_may_wait_sends_each_as_its_place_in_the_minute_opens() -> None:
    """Two left at 0 and 2 seconds and one at 30: from second 59 on one run sends at 60 and 62 and leaves the third."""
    sending_limits_set(actor=None, mails_per_minute=3)
    for second in (0, 2, 30):
        make.make_message(state="sent", claimed_at=NOON + timedelta(seconds=second))
    for _ in range(5):
        make.make_message()
    with time_machine.travel(NOON + timedelta(seconds=59), tick=False) as traveller:
        result = messages_dispatch(
            now=clock.now(), clock=clock.now, wait=lambda seconds: traveller.shift(timedelta(seconds=seconds))
        )
    left = Message.objects.filter(state="sent", claimed_at__gte=NOON + timedelta(seconds=59)).order_by("claimed_at")
    assert list(left.values_list("claimed_at", flat=True)) == [NOON + timedelta(seconds=at) for at in (60, 62)]
    assert (result.sent, result.room_at) == (2, NOON + timedelta(seconds=90))


@pytest.mark.django_db
def test_a_tick_that_comes_a_moment_early_waits_and_loses_no_minute(django_capture_on_commit_callbacks: Any) -> None:
    """The pace leaves room two seconds later: the task waits for them and goes on. For half a minute it does not."""
    sending_limits_set(actor=None, mails_per_minute=2)
    for _ in range(6):
        make.make_message()
    for second in (0, 30, 58):
        with (
            time_machine.travel(NOON + timedelta(seconds=second), tick=False) as traveller,
            mock.patch("shared.outbox.tasks.sleep", lambda wait, to=traveller: to.shift(timedelta(seconds=wait))),
            django_capture_on_commit_callbacks(execute=True),
        ):
            run_task("outbox.dispatch", {})
    claimed = Message.objects.filter(state="sent").order_by("claimed_at").values_list("claimed_at", flat=True)
    assert list(claimed) == [NOON, NOON, *([NOON + timedelta(minutes=1)] * 2)]


@pytest.mark.django_db
@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL chooses by the size of the table")
def test_turns_are_read_from_their_index() -> None:
    """However long the backlog: neither the order nor the late ones nor the closed zones are found by reading it."""
    make.make_message(quiet_zone="Pacific/Honolulu")  # where it is 6:00
    with CaptureQueriesContext(connection) as asked:
        late_drop(NOON), due_turns(NOON, 10, until=NOON), closed_put_off(NOON)
    looked = [step for query in asked.captured_queries for step in plan_of(query["sql"])]
    by_index = Counter(step.partition("INDEX message_")[2].partition(" ")[0] for step in looked)
    assert by_index == {"late": 1, "turn": 4, "closed": 3, "pace": 1}, looked


def plan_of(sql: str) -> list[str]:
    """How SQLite looks into the messages."""
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {sql}")
        return [row[3] for row in cursor.fetchall() if " outbox_message" in row[3]]


def queries_for(number: int) -> int:
    """Of a run that sends so many messages that nobody asked for."""
    for _ in range(number):
        make.make_message(is_promotion=True, quiet_zone="America/New_York")
    with CaptureQueriesContext(connection) as asked:
        assert messages_dispatch(now=NOON).sent == number
    return len(asked)


@pytest.mark.django_db
def test_a_message_takes_few_queries() -> None:
    """The lock, the look, what was said at the address, the claim, the result, and two for the transaction; the rest
    is asked once for the run."""
    messages_dispatch(now=NOON)  # makes the rows of the settings
    few, many = queries_for(2), queries_for(12)
    assert (many - few) / 10 <= 7
    assert few <= 2 * 7 + 14
