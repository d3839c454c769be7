"""Published rules of messaging, each with its source. Checked on 2026-11-25; nothing here is legal advice."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from jobs.reminders.domain.lint import claims
from jobs.reminders.domain.replies import Meaning, meaning_of
from jobs.reminders.links import opt_out_link
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminders_queue
from shared.errors import Refused
from shared.holidays import business_day_after, holidays_of
from shared.outbox.domain.quiet_hours import is_open, next_open
from shared.outbox.domain.sms import BASIC, EXTENSION, sms_count
from shared.outbox.models import Message
from shared.outbox.services import message_queue
from tests import factories as make

# --- parts of a text message: 3GPP TS 23.038 (alphabets) and 3GPP TS 23.040, 9.2.3.24.1 (8-bit reference) ---


@pytest.mark.parametrize(
    ("text", "encoding", "parts"),
    [
        ("A" * 160, "GSM-7", 1),
        ("A" * 161, "GSM-7", 2),
        ("A" * 306, "GSM-7", 2),
        ("A" * 307, "GSM-7", 3),
        ("€" * 80, "GSM-7", 1),
        ("€" * 81, "GSM-7", 2),
        ("€" * 153, "GSM-7", 3),  # 306 septets, but no euro sign may straddle a part's end: 76 in each of two parts
        ("A" * 159 + "Ç", "GSM-7", 1),
        ("A" * 159 + "ç", "UCS-2", 3),
        ("A" * 69 + "’", "UCS-2", 1),
        ("A" * 70 + "’", "UCS-2", 2),
        ("😀" * 35, "UCS-2", 1),
        ("😀" * 36, "UCS-2", 2),
        ("É" * 160, "GSM-7", 1),
        ("á" * 134, "UCS-2", 2),
        ("á" * 135, "UCS-2", 3),
        ("", "GSM-7", 1),
    ],
)
def test_sms_parts(text: str, encoding: str, parts: int) -> None:
    """160 septets or 153 in each part; 70 units or 67 in each part; extension characters cost two and stay whole."""
    count = sms_count(text)
    assert (count.encoding, count.parts) == (encoding, parts)


def test_the_alphabet_is_whole() -> None:
    """The basic table has 128 places, one of which is the escape; the extension table names ten characters."""
    assert (len(BASIC), len(EXTENSION), BASIC & EXTENSION) == (127, 10, frozenset())


@given(st.text(max_size=400))
def test_parts_fit_their_units(text: str) -> None:
    """Never fewer parts than the units need, and at most one unit in each part is lost to a whole character."""
    count = sms_count(text)
    single, several = (160, 153) if count.encoding == "GSM-7" else (70, 67)
    if count.units <= single:
        assert count.parts == 1
    else:
        assert count.units <= count.parts * several
        assert count.units > (count.parts - 1) * (several - 1)


# --- quiet hours: 47 CFR 64.1200(c)(1), before 8 a.m. or after 9 p.m. local time at the called party's location ---


@pytest.mark.parametrize(
    ("clock", "open_"),
    [((7, 59, 59), False), ((8, 0, 0), True), ((20, 59, 59), True), ((21, 0, 1), False), ((0, 0, 0), False)],
)
def test_quiet_hour_edges_in_arizona(clock: tuple[int, int, int], open_: bool) -> None:
    """Phoenix keeps UTC-7 all year: no daylight time moves its hours (Uniform Time Act, 15 USC 260a(a))."""
    for month in (1, 7):
        at = datetime(2026, month, 15, *clock, tzinfo=UTC) + timedelta(hours=7)
        assert is_open(at, "America/Phoenix") is open_


@pytest.mark.parametrize(
    ("at", "opens"),
    [
        (datetime(2026, 3, 8, 2, tzinfo=UTC), datetime(2026, 3, 8, 12, tzinfo=UTC)),  # night of the lost hour
        (datetime(2026, 11, 1, 2, tzinfo=UTC), datetime(2026, 11, 1, 13, tzinfo=UTC)),  # night of the hour twice
        (datetime(2026, 6, 1, 11, tzinfo=UTC), datetime(2026, 6, 1, 12, tzinfo=UTC)),
        (datetime(2026, 6, 1, 16, tzinfo=UTC), datetime(2026, 6, 1, 16, tzinfo=UTC)),
    ],
)
def test_the_next_morning_is_the_local_one(at: datetime, opens: datetime) -> None:
    """8:00 in New York is 12:00 UTC in summer and 13:00 UTC in winter, also right after the clocks changed."""
    assert next_open(at, "America/New_York") == opens


@given(
    st.datetimes(datetime(2020, 1, 1), datetime(2035, 1, 1), timezones=st.just(UTC)),
    st.sampled_from(
        ["America/New_York", "America/Phoenix", "America/St_Johns", "Pacific/Honolulu", "Pacific/Auckland"]
    ),
)
def test_next_open_is_open_and_near(at: datetime, zone: str) -> None:
    """Never in the quiet hours, never in the past, never more than a night away."""
    opens = next_open(at, zone)
    assert is_open(opens, zone)
    assert timedelta() <= opens - at <= timedelta(hours=12)
    assert opens == at or not is_open(opens - timedelta(seconds=1), zone)


# --- opting out by text: 47 CFR 64.1200(a)(10), as amended by FCC 24-24 (89 FR 15756), in force since 2025-04-11 ---


@pytest.mark.parametrize("word", ["stop", "quit", "end", "revoke", "opt out", "cancel", "unsubscribe"])
@pytest.mark.parametrize("spelling", ["{}", "{}.", " {}! ", "{}\n", "\u201c{}\u201d"])
def test_the_named_words_revoke_by_themselves(word: str, spelling: str) -> None:
    """Each of the words that the rule names, in either case and with what a thumb adds to it."""
    for said in (word, word.upper(), word.capitalize()):
        assert meaning_of(spelling.format(said)).meaning == Meaning.STOP


@pytest.mark.parametrize(
    "text", ["please don't text me", "Take me off your list", "no more messages", "leave me alone"]
)
def test_any_reasonable_wording_counts(text: str) -> None:
    """The same rule: no word may be prescribed."""
    assert meaning_of(text).meaning == Meaning.STOP


@pytest.mark.parametrize(
    ("asked", "deadline"),
    [
        (date(2026, 6, 8), date(2026, 6, 23)),  # Juneteenth, a Friday, does not count
        (date(2026, 7, 2), date(2026, 7, 17)),  # Independence Day is observed on Friday the 3rd
        (date(2026, 11, 2), date(2026, 11, 17)),  # Veterans Day, a Wednesday
        (date(2026, 12, 18), date(2027, 1, 5)),  # Christmas Day and New Year's Day, both Fridays
    ],
)
def test_ten_business_days(asked: date, deadline: date) -> None:
    """The longest that honouring may take: weekends and federal holidays (5 USC 6103) do not count. Ours is at once."""
    assert business_day_after(asked, 10, holidays_of("US")) == deadline


# --- E.164 (ITU-T): + and at most 15 digits, none of them a leading zero ---


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("number", "good"),
    [
        ("+15555550123", True),
        ("+123456789012345", True),
        ("555-1234", False),
        ("+1234567890123456", False),
        ("+05555550123", False),
        ("15555550123", False),
    ],
)
def test_e164(number: str, good: bool) -> None:
    """Texts go to whole international numbers only."""
    fields = {"channel": "text", "purpose": "n", "recipient_name": "", "subject": "", "body": "b"}
    if good:
        assert message_queue(dedupe_key="k", recipient=number, **fields)[1]
        return
    with pytest.raises(Refused):
        message_queue(dedupe_key="k", recipient=number, **fields)


# --- one-click opt-out: RFC 8058; the address itself: RFC 2369 ---


@pytest.fixture
def reminded(settings: Any) -> Any:
    """A customer for whom a reminder by mail waits."""
    settings.WALLDAY_SITE_URL = "https://wash.example.com"
    make.set_company()
    interval = make.make_interval()
    now = datetime(2026, 6, 1, 16, tzinfo=UTC)
    reminders_queue(keys=[item.key for item in due_list(today=date(2026, 6, 1))], actor=None, now=now)
    return interval.property.customer


def path_of(customer: Any) -> str:
    return opt_out_link(customer.pk, "email").removeprefix("https://wash.example.com")


@pytest.mark.django_db
def test_one_click_headers(reminded: Any) -> None:
    """RFC 8058, 3.1: List-Unsubscribe holds an https URI, List-Unsubscribe-Post this one value."""
    headers = Message.objects.get().headers
    assert headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert headers["List-Unsubscribe"] == f"<{opt_out_link(reminded.pk, 'email')}>"
    assert headers["List-Unsubscribe"].startswith("<https://wash.example.com/opt-out/")


@pytest.mark.django_db
def test_a_get_changes_nothing(reminded: Any) -> None:
    """RFC 8058, section 1: scanners fetch every link in a mail; that must not opt anybody out."""
    client = Client(enforce_csrf_checks=True)
    assert client.get(path_of(reminded)).status_code == 200
    assert client.head(path_of(reminded)).status_code == 200
    assert not reminded.consents.exists()
    assert Message.objects.get().state == "waiting"


@pytest.mark.django_db
def test_a_one_click_post_opts_out(reminded: Any) -> None:
    """RFC 8058, 3.1 and 3.2: this body of 26 bytes, form-encoded, no cookies, no login, no redirect."""
    body = "List-Unsubscribe=One-Click"
    assert len(body) == 26
    client = Client(enforce_csrf_checks=True)
    answer = client.post(path_of(reminded), body, content_type="application/x-www-form-urlencoded")
    assert answer.status_code == 200
    consent = reminded.consents.get()
    assert (consent.channel, consent.purpose, consent.given, consent.source) == (
        "email",
        "reminder",
        False,
        "one-click",
    )
    assert Message.objects.get().state == "dropped"


@pytest.mark.django_db
def test_a_one_click_post_as_multipart(reminded: Any) -> None:
    """RFC 8058, 3.2: multipart/form-data is allowed as well."""
    answer = Client(enforce_csrf_checks=True).post(path_of(reminded), {"List-Unsubscribe": "One-Click"})
    assert (answer.status_code, reminded.consents.get().source) == (200, "one-click")


@pytest.mark.django_db
@pytest.mark.parametrize("token", ["e1", "e1.", "e1.AAAAAAAAAAAAAAAA", "x", "é.é", "e99999999999999999999.A"])
def test_a_forged_address_opts_nobody_out(reminded: Any, token: str) -> None:
    """RFC 8058, section 6: the URI must be hard to forge."""
    assert Client().post(f"/opt-out/{token}/", {"List-Unsubscribe": "One-Click"}).status_code == 404
    assert not reminded.consents.exists()


@pytest.mark.django_db
def test_an_opt_out_link_does_not_expire(reminded: Any) -> None:
    """15 USC 7704(a)(3)(A)(ii): it works for at least 30 days after the message; ours works for ever."""
    import time_machine

    with time_machine.travel(datetime(2036, 6, 1, tzinfo=UTC), tick=False):
        assert Client().post(path_of(reminded), {}).status_code == 200
    assert reminded.consents.get().given is False


# --- what a commercial mail carries: 15 USC 7704(a)(5) ---


@pytest.mark.django_db
def test_mail_names_sender_place_offer_and_way_out(reminded: Any) -> None:
    """That it is an offer, how to opt out, and a valid postal address."""
    body = Message.objects.get().body
    assert "Sample Wash" in body
    assert "1 Yard Lane, Sampleton, OH 00001" in body
    assert "This is an offer from Sample Wash" in body
    assert opt_out_link(reminded.pk, "email") in body


# --- surface claims: EPA guidance of 2011, as quoted by the California Department of Pesticide Regulation in 2012 ---


@pytest.mark.parametrize(
    ("claim", "pesticidal"),
    [
        ("removes stains from mold and algae", False),
        ("kills mold and algae", True),
        ("controls algae", True),
        ("prevents mildew", True),
    ],
)
def test_pesticidal_claims(claim: str, pesticidal: bool) -> None:
    """Stain removal is not pesticidal; control, kill and prevent are."""
    assert bool(claims(claim)) is pesticidal
