"""What somebody means who answers by text. Checked on 2026-11-25; not legal advice.

47 CFR 64.1200(a)(10) names the words that revoke consent by themselves (stop, quit, end, revoke, opt out, cancel,
unsubscribe) and lets any other reasonable wording count as well. So a message that is such a word in any spelling, or
plainly asks for no more messages, is taken at its word; one that merely holds such a word ("can you stop by?") is
UNCLEAR: a person reads it, and nothing goes out meanwhile. The Spanish words and the phrases are ours, no source.
"""

import re
import unicodedata
from dataclasses import dataclass
from enum import StrEnum


class Meaning(StrEnum):
    STOP = "stop"
    START = "start"
    UNCLEAR = "unclear"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Reply:
    """`everything`: the person speaks of messages of every kind and way, not of texts alone."""

    meaning: Meaning
    everything: bool = False


STOP_WORDS = (
    "stop", "stopall", "quit", "end", "revoke", "optout", "cancel", "unsubscribe",
    "alto", "pare", "paren", "parar", "basta", "baja", "cancelar", "revocar",
)  # fmt: skip
START_WORDS = ("start", "unstop", "resume", "optin", "subscribe", "comenzar", "empezar", "reanudar")
# Words that may stand beside a stop word and leave its meaning as it is.
_BESIDE = frozenset((
    "a", "all", "and", "any", "contacting", "ever", "everything", "from", "gracias", "hey", "hi", "i", "it", "just",
    "me", "message", "messages", "messaging", "my", "no", "now", "of", "off", "ok", "okay", "on", "please", "pls",
    "sending", "sms", "text", "texting", "texts", "thank", "thanks", "that", "the", "these", "this", "to", "u", "want",
    "you", "your", "de", "el", "enviar", "favor", "la", "las", "los", "mandar", "mensaje", "mensajes", "por", "quiero",
    "todo", "todos", "ya",
))  # fmt: skip
_ALL = re.compile(r"\b(all|everything|any kind|every way|emails?|mails?|todos?|todas?|correos?)\b")
_PHRASES = re.compile(
    r"\b(do not|dont|don t|never|stop|quit|no more|cease)\b(?: \w+){0,3}? "
    r"(text|texts|texting|message|messages|messaging|contact|contacting|sms|write|writing|bother|bothering|reminders?)\b"
    r"|\b(take|leave|get) (me|us|my number|this number)( \w+){0,2} (off|alone|out)\b"
    r"|\bremove (me|us|my number|this number)\b|\blose my number\b|\bunsubscribe (me|us)\b|\bopt (me |us )?out\b"
    r"|\bwrong number\b|\bno longer (want|wish)( \w+){0,3} (texts?|messages?|sms)\b"
    r"|\bno (me |nos )?(escriba|mande|envie|contacte|moleste)\w*"
    r"|\bno mas (mensajes|textos|sms)\b|\b(darme|denme|dame) de baja\b|\bquite(n)?me\b"
    r"|\bdeje(n)? de (escribir|mandar|enviar|contactar|molestar)\w*"
)
# With these the sentence is about when or what, and a person has to read it.
_ABOUT_TIME = re.compile(
    r"\b(before|after|until|till|tomorrow|today|tonight|morning|afternoon|evening|noon|monday|tuesday|wednesday|thursday"
    r"|friday|saturday|sunday|week|antes|despues|hasta|manana|hoy|lunes|martes|miercoles|jueves|viernes|sabado"
    r"|domingo|semana)\b"
)


def meaning_of(text: str) -> Reply:
    """What the reply asks for."""
    words = _plain_words(text)
    plain = " ".join(words)
    everything = bool(_ALL.search(plain)) or "stopall" in words
    if _is_only(words, STOP_WORDS):
        return Reply(Meaning.STOP, everything)
    if _is_only(words, START_WORDS):
        return Reply(Meaning.START)
    if _PHRASES.search(plain):
        asks = "?" in text or _ABOUT_TIME.search(plain)
        return Reply(Meaning.UNCLEAR) if asks else Reply(Meaning.STOP, everything)
    if any(_spells(word, STOP_WORDS) for word in words):
        return Reply(Meaning.UNCLEAR)
    return Reply(Meaning.OTHER)


def _plain_words(text: str) -> list[str]:
    """Small letters without accents, marks or look-alikes; letters written apart are put together."""
    decomposed = unicodedata.normalize("NFKD", text).casefold()
    letters = "".join(c for c in decomposed if not unicodedata.combining(c) and unicodedata.category(c) != "Cf")
    words = re.sub(r"['’`]", "", letters)
    words = re.sub(r"(?<=[^\W\d_])0|0(?=[^\W\d_])", "o", words)
    found = re.findall(r"[^\W_]+", words)
    if len(found) > 1 and all(len(word) == 1 for word in found):
        found = ["".join(found)]
    joined = " ".join(found)
    joined = re.sub(r"\bopt out\b", "optout", joined)
    joined = re.sub(r"\bopt in\b", "optin", joined)
    return joined.split()


def _is_only(words: list[str], known: tuple[str, ...]) -> bool:
    """Whether the words are one of the known ones, with nothing beside it that could change its meaning."""
    named = [word for word in words if _spells(word, known)]
    return bool(named) and all(word in _BESIDE or word in named for word in words)


def _spells(word: str, known: tuple[str, ...]) -> bool:
    """The word itself, or with letters drawn out: `stoppp`, `STOOOP`."""
    return (
        word in known
        or (bool(re.search(r"(.)\1\1", word)) and _drawn_in(word) in map(_drawn_in, known))
        or (len(word) > 3 and word[-1] == word[-2] and word[:-1] in known)
    )


def _drawn_in(word: str) -> str:
    return re.sub(r"(.)\1+", r"\1", word)
