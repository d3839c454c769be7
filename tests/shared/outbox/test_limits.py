"""Pace, weekly limit and holidays: what holds a message back, and for how long."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from unittest import mock
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from shared.outbox import dispatcher
from shared.outbox.domain.limits import WEEK, held_until, room_this_minute
from shared.outbox.domain.quiet_hours import is_open, next_open
from shared.outbox.models import Message
from shared.outbox.services import messages_dispatch, sending_limits_set
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
    make.make_message(purpose="notice", **person)
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
