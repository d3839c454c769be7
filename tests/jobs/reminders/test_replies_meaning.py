"""What an answer by text means: the words of the rule in odd spellings, plain wording, and what a person must read."""

import unicodedata

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
        "S TOP", "st op", "stpo", "STOP2", "\U0001f6d1", "stop \U0001f44d", "STOP IT", "plz stop", "stop txting me",
        "stop txt", "dont txt me", "stop spamming me", "Stop. We sold the house.", "who is this? Stop!",
        "unsub", "Unsuscribe", "UNSUBCRIBE", "how do I unsubscribe?", "I would like to opt out", "How can I opt out?",
        "could you take me off the list?", "can you please stop texting me?", "I revoke my consent to be contacted",
        "withdraw my consent", "I do not consent", "cancel my subscription", "do not call me again", "No more",
        "never again", "no thanks, no more", "remove", "delete me", "please delete my number", "go away", "cease",
        "please remove my phone number from your system", "no texts", "please, no more txts", "wrong person",
        "I don't want any more messages from you", "we no longer wish to get your texts",
    ],
)  # fmt: skip
def test_plain_words_end_it(text: str) -> None:
    """47 CFR 64.1200(a)(10): the named words by themselves, and any reasonable wording."""
    assert meaning_of(text).meaning == Meaning.STOP


@pytest.mark.parametrize(
    "text",
    [
        "ALTO", "Alto por favor", "Basta", "ya basta", "pare", "Pare, por favor", "¡PAREN YA!", "para", "fin", "salir",
        "baja", "no más", "Ya no", "ya no, gracias", "nunca más", "cancele", "cancelar por favor", "cancelen mensajes",
        "no me escriban más", "No me escriba mas", "no me manden nada", "no me llamen", "no me vuelvan a escribir",
        "no molestar", "no enviar más", "no más mensajes", "no quiero recibir mensajes", "Ya no quiero mensajes",
        "no quiero que me escriban", "no queremos más recordatorios", "nunca más me escriban", "darme de baja",
        "me quiero dar de baja", "denme de baja", "dejen de mandarme mensajes", "deje de escribirme",
        "paren de mandar mensajes", "déjeme en paz", "Déjenme en paz", "quítenme de la lista", "quíteme por favor",
        "bórrenme", "borre mi número", "elimíneme de su lista", "número equivocado", "se equivocó de número",
        "cancelar mi suscripción", "no me escriban por ningún medio", "¿Pueden dejar de escribirme?",
    ],
)  # fmt: skip
def test_plain_spanish_ends_it(text: str) -> None:
    """The words and the ways in which Spanish speakers ask for it, with accents or without."""
    assert meaning_of(text).meaning == Meaning.STOP
    bare = "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c))
    assert meaning_of(bare.upper()).meaning == Meaning.STOP


@pytest.mark.parametrize(
    "text",
    [
        "Can you stop by on Monday?", "stop by anytime", "please cancel my appointment on Friday", "when does it end?",
        "I have to cancel", "don't text me before noon", "Don't message me until tomorrow please",
        "we will be gone at the end of May", "no me escriban antes de las 9", "no pare", "No cancelen", "Don't stop!",
        "stop by and text me when you are here", "I never got your text", "we don't get your messages",
        "please don't call, text me instead", "don't send a crew yet", "no me manden la factura todavía",
        "Why don't you text me when you are close?", "who is this?", "not interested", "this is spam", "reported",
        "how did you get my number", "no me interesa", "pare el jueves por favor", "I said stop", "we moved, stop",
    ],
)  # fmt: skip
def test_a_person_reads_what_could_be_meant_otherwise(text: str) -> None:
    """A stop word in another sense, or a wish about when: held back and shown, not decided."""
    assert meaning_of(text).meaning == Meaning.UNCLEAR


@pytest.mark.parametrize(
    "text",
    [
        "", "Yes please", "How much?", "Thursday works", "👍", "Sí, el jueves", "weekend is fine", "No", "no, gracias",
        "Please remove the moss from the roof", "El techo es alto", "la planta baja también", "para el jueves",
        "quítenme el musgo del techo", "text me when you are near", "Call me", "we go away next month",
        "Nothing more, thank you", "¿Cuánto es?", "Manden a alguien", "drop me a line", "I have no idea", "fin de mes",
        "Can you take the chalk off too?", "Me gustaría el lavado, por favor",
    ],
)  # fmt: skip
def test_an_ordinary_answer_is_left_to_the_office(text: str) -> None:
    assert meaning_of(text).meaning == Meaning.OTHER


@pytest.mark.parametrize(
    "text", ["START", "start", "Unstop", "opt in", "comenzar", "Start please", "START again", "alta"]
)
def test_a_person_may_come_back(text: str) -> None:
    assert meaning_of(text).meaning == Meaning.START


@pytest.mark.parametrize(
    ("text", "everything"),
    [
        ("STOP", False), ("stop texting me", False), ("STOP ALL", True), ("stopall", True),
        ("stop everything", True), ("do not call me again", False), ("stop the emails too", True),
        ("no me manden nada", True), ("no me escriban por ningún medio", True), ("no quiero correos ni textos", True),
        ("pare", False), ("no me escriban más", False),
         ("do not contact me by text or email", True), ("no más mensajes, de todo", True),
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
