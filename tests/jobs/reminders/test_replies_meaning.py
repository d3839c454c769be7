"""What an answer by text means: the words of the rule in odd spellings, plain wording, and what a person must read."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.reminders.domain.replies import STOP_WORDS, Meaning, meaning_of


@pytest.mark.parametrize(
    "text",
    [
        "STOP", "stop", " Stop.", "STOP!", "stop please", "Stoppp", "stopp", "S T O P", "s.t.o.p", "ST0P", "ＳＴＯＰ",
        "stop\u200b", "“STOP”", "STOP STOP STOP", "stop texting me", "quit", "END", "revoke", "opt out", "Opt-Out",
        "OPTOUT", "cancel", "Unsubscribe", "unsubscribe me please", "please don't text me", "Please don’t text me!!",
        "do not contact me", "no more messages", "no more texts thanks", "take me off your list", "remove me",
        "remove my number", "leave me alone", "lose my number", "never text me again", "wrong number",
        "stop sending me these messages", "I no longer want texts", "stop bothering us",
        "ALTO", "Basta", "no me escriban más", "no más mensajes", "darme de baja", "dejen de mandarme mensajes",
        "cancelar por favor",
    ],
)  # fmt: skip
def test_plain_words_end_it(text: str) -> None:
    """47 CFR 64.1200(a)(10): the named words by themselves, and any reasonable wording."""
    assert meaning_of(text).meaning == Meaning.STOP


@pytest.mark.parametrize(
    "text",
    [
        "Can you stop by on Monday?", "stop by anytime", "please cancel my appointment on Friday", "when does it end?",
        "I have to cancel", "don't text me before noon", "Don't message me until tomorrow please",
        "we will be gone at the end of May", "no me escriban antes de las 9",
    ],
)  # fmt: skip
def test_a_person_reads_what_could_be_meant_otherwise(text: str) -> None:
    """A stop word in another sense, or a wish about when: held back and shown, not decided."""
    assert meaning_of(text).meaning == Meaning.UNCLEAR


@pytest.mark.parametrize(
    "text", ["", "Yes please", "How much?", "Thursday works", "👍", "Sí, el jueves", "weekend is fine"]
)
def test_an_ordinary_answer_is_left_to_the_office(text: str) -> None:
    assert meaning_of(text).meaning == Meaning.OTHER


@pytest.mark.parametrize("text", ["START", "start", "Unstop", "opt in", "comenzar", "Start please"])
def test_a_person_may_come_back(text: str) -> None:
    assert meaning_of(text).meaning == Meaning.START


@pytest.mark.parametrize(
    ("text", "everything"),
    [
        ("STOP", False), ("stop texting me", False), ("STOP ALL", True), ("stopall", True),
        ("stop everything", True), ("do not contact me by text or email", True), ("no más mensajes, de todo", True),
    ],
)  # fmt: skip
def test_everything_is_said_in_so_many_words(text: str, everything: bool) -> None:
    """Texts alone, unless the person speaks of all of it or of mail as well."""
    assert meaning_of(text).everything is everything


@given(st.text())
def test_any_text_has_a_meaning(text: str) -> None:
    assert meaning_of(text).meaning in Meaning


@given(
    st.sampled_from(STOP_WORDS),
    st.text(" .,!?*-_\n\"'", max_size=4),
    st.text(" .,!*-_\n\"'", max_size=4),
    st.data(),
)
def test_dress_does_not_hide_a_stop_word(word: str, before: str, after: str, data: st.DataObject) -> None:
    """Marks around it, and any mixture of capitals."""
    dressed = "".join(c.upper() if data.draw(st.booleans()) else c for c in word)
    assert meaning_of(before + dressed + after).meaning == Meaning.STOP
