"""Who may be written to, from all that was ever said."""

from datetime import UTC, date, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from jobs.reminders.domain.consent import ConsentRow, Standing, choose_channel, standing, wait_until

START = datetime(2026, 1, 1, tzinfo=UTC)
BOTH = {"email": "a@example.com", "text": "+15555550123"}


def said(*words: tuple[str, str, bool]) -> list[ConsentRow]:
    """Rows in the order in which they were recorded, a day apart."""
    return [ConsentRow(*word, START + timedelta(days=n), n) for n, word in enumerate(words)]


def test_the_newest_word_counts() -> None:
    """No after yes, yes after no."""
    yes, no = ("email", "reminder", True), ("email", "reminder", False)
    assert standing(said(yes, no), "email").opted_out_at == START + timedelta(days=1)
    assert standing(said(no, yes), "email") == Standing(agreed_at=START + timedelta(days=1))


def test_an_opt_out_of_everything_counts_for_reminders() -> None:
    """And an opt-out of messages about booked work does not."""
    assert standing(said(("email", "all", False)), "email").opted_out_at
    assert standing(said(("email", "service", False)), "email") == Standing()


def test_a_word_about_texts_says_nothing_about_mail() -> None:
    """Each channel for itself."""
    rows = said(("text", "all", False))
    assert choose_channel(rows, BOTH).channel == "email"


def test_an_agreement_about_booked_work_is_none_for_reminders() -> None:
    """Consent for appointment texts does not open the way for offers."""
    assert choose_channel(said(("text", "service", True)), {"text": BOTH["text"]}).channel == ""


def test_a_clock_that_was_set_back_does_not_hide_an_opt_out() -> None:
    """Recorded later, dated earlier: the opt-out stands."""
    rows = [
        ConsentRow("email", "reminder", True, START, 1),
        ConsentRow("email", "reminder", False, START - timedelta(days=9), 2),
    ]
    assert standing(rows, "email").opted_out_at


ROWS = st.lists(
    st.builds(
        ConsentRow,
        st.sampled_from(["email", "text"]),
        st.sampled_from(["reminder", "service", "all"]),
        st.booleans(),
        st.integers(0, 5).map(lambda days: START + timedelta(days=days)),
        st.integers(0, 20),
    ),
    max_size=8,
    unique_by=lambda row: row.number,
)


@given(ROWS)
def test_a_last_no_always_wins(rows: list[ConsentRow]) -> None:
    """Whatever was said before, an opt-out recorded last closes its channel, and no channel is used without right."""
    closing = ConsentRow("text", "all", False, START - timedelta(days=1), 99)
    assert choose_channel([*rows, closing], {"text": BOTH["text"]}).channel == ""
    choice = choose_channel(rows, BOTH)
    if choice.channel:
        assert standing(rows, choice.channel).opted_out_at is None
    if choice.channel == "text":
        assert standing(rows, "text").agreed_at


@given(st.dates(date(2020, 1, 1), date(2030, 1, 1)), st.integers(0, 400), st.integers(0, 400))
def test_the_gap_ends_on_its_day(last: date, gap: int, later: int) -> None:
    """On the day itself writing is allowed again; before it the day is named."""
    today = last + timedelta(days=later)
    until = wait_until(last, today=today, gap_days=gap)
    assert (until is None) == (later >= gap)
    assert until in (None, last + timedelta(days=gap))
