"""What somebody means who answers by text. Checked on 2026-11-25; not legal advice.

47 CFR 64.1200(a)(10) names the words that revoke consent by themselves (stop, quit, end, revoke, opt out, cancel,
unsubscribe) and lets any other reasonable wording count as well. So a message that is such a word in any spelling, or
plainly asks for no more messages, is taken at its word; one that merely holds such a word ("can you stop by?"), or
sounds like a complaint, is UNCLEAR: a person reads it, and no reminder goes out meanwhile. The Spanish words, the other
English ones and the phrases are ours, no source.
"""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
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
    "pare", "paren", "parar", "basta", "cancelar", "revocar",
)  # fmt: skip
# These mean it only where they are all that is said: inside a sentence they mean other things ("el techo es alto").
STOP_WORDS_ALONE = (
    "remove", "delete", "discontinue", "cease", "desist", "halt", "unsub", "nomore", "neveragain", "goaway",
    "alto", "baja", "para", "fin", "salir", "borrar", "eliminar", "detener", "detenga", "detengan", "detenganse",
    "suspender", "suspendan", "terminar", "cese", "cesen", "cesar", "cancele", "cancelen", "nomas", "nuncamas", "yano",
    "stpo", "sotp", "stahp", "desuscribir", "desuscribirme",
)  # fmt: skip
START_WORDS = ("start", "unstop", "resume", "optin", "subscribe", "comenzar", "empezar", "reanudar", "alta")
_TOGETHER = re.compile(r"\b(opt out|opt in|no more|no mas|never again|nunca mas|go away|ya no)\b")
# Words that may stand beside a stop word and leave its meaning as it is.
_BESIDE = frozenset((
    "a", "again", "all", "and", "any", "calling", "consent", "contacting", "email", "emails", "ever", "everything",
    "from", "gracias", "hey", "hi", "i", "immediately", "it", "just", "me", "message", "messages", "messaging", "msgs",
    "my", "no", "now", "of", "off", "ok", "okay", "on", "permission", "please", "pls", "plz", "sending", "sms",
    "subscription", "text", "texting", "texts", "thank", "thanks", "that", "the", "these", "this", "to", "txt", "txts",
    "u", "us", "want", "we", "you", "your", "consentimiento", "correos", "de", "el", "enviar", "favor", "la", "las",
    "los", "mandar", "me", "mensaje", "mensajes", "mi", "mismo", "nos", "por", "quiero", "suscripcion", "textos",
    "todo", "todos", "ya",
))  # fmt: skip
_ALL = re.compile(
    r"\b(all|everything|anything|any kind|any way|every way|e?mails?|e?mailing|todos?|todas?|nada|correos?"
    r"|ningun medio|ninguna (forma|manera))\b"
)
_WRITING = r"(text|txt|messag|msg|contact|sms|writ|e?mail|call|bother|disturb|spam|remind|send)\w*"
_ESCRIBIR = r"(mensaj|text|sms|corre|recordatori|llam|escrib|mand|envi|contact|molest)\w*"
_ME = r"(me|us|(my|our|this|the)( \w+)? (number|name|info|contact))"
_PHRASES = re.compile(
    rf"(?<!\bi )(?<!\bwe )\b(do not|dont|don t|never)( (ever|please|pls|plz))* {_WRITING}"
    rf"|\b(do not|dont|don t|no longer|never)( \w+)? (want|wish)( \w+){{0,6}}? {_WRITING}"
    r"|\b(stop|quit|cease|discontinue|cancel)( (all|any|the|these|those|your|sending|me|us|with|from|being))* "
    rf"{_WRITING}"
    rf"|^((please|pls|plz) )*no {_WRITING}|\bno (more|further) {_WRITING}"
    rf"|\b(remove|delete|erase) {_ME}\b|\b(take|get) {_ME}( \w+){{0,2}} (off|out)\b|\bleave (me|us)( \w+)? alone\b"
    r"|\blose (my|this) number\b|\b(?<!not )(?<!dont )unsubscribe\b|\bopt(ing)? (me |us )?out\b|\boptout\b"
    r"|\bwrong (number|person)\b|\b(fuck|piss|buzz) off\b"
    r"|\b(revoke|withdraw|rescind|cancel)( (my|all|any|the))* (consent|permission)\b"
    r"|\b(do not|dont|never gave) consent\b"
    r"|\bno (me |nos )?(escriba|mande|envie|contacte|moleste|llame)\w*"
    r"|\bno ((me|nos|vuelva|vuelvan|a) )*(escribir|mandar|enviar|contactar|molestar|llamar)\w*"
    rf"|\bno (quiero|queremos|deseo|deseamos)( \w+){{0,4}}? {_ESCRIBIR}|\b(no|ni|nunca) mas {_ESCRIBIR}"
    r"|\bnunca (mas )?(me|nos) (escriba|mande|envie|contacte|moleste|llame)\w*"
    rf"|\b(dej(e|en|a|ar)|par(e|en|a|ar)) (de|con|los|las)( \w+)? ?{_ESCRIBIR}"
    r"|\bdej(e|en|a)(me|nos) (en paz|tranquil\w+)"
    r"|\b(dar|darme|darnos|dame|den|denme|deme|dese|darse) de baja\b"
    r"|\b(quit|borr|elimin|saqu|retir)\w{1,3}(me|nos)( (de|del) \w+.*|( por favor| ya| gracias)*$)"
    r"|\b(quit|borr|elimin)\w* (mi|este) (numero|telefono|nombre)\b|\b(quitar|borrar|eliminar)me (de|del)\b"
    r"|\b(numero|telefono|persona) equivocad|\bse equivoc(o|a|aron|an)\b"
    r"|\b(cancel|revoc|retir)\w* (mi|mis|el|los) (suscripcion|consentimiento|permiso|mensajes|textos)\b"
    r"|\bpor ningun medio\b|\bde ninguna (forma|manera)\b"
)
# A polite question asks for it all the same: the question mark says nothing then.
_POLITE = re.compile(
    r"\b(can|could|would|will) (you|u)\b|\b(how|where|can|could|may) (do |can )?(i|we)\b|\b(puede|pueden|podrian?)\b"
)
# With these the sentence is about when, what or which way, and a person has to read it.
_ABOUT_MORE = re.compile(
    r"\b(before|after|until|till|tomorrow|today|tonight|morning|afternoon|evening|noon|monday|tuesday|wednesday|thursday"
    r"|friday|saturday|sunday|week|yet|instead|rather|prefer|only|invoice|bill|receipt|estimate|quote|crew|appointment"
    r"|antes|despues|hasta|manana|hoy|lunes|martes|miercoles|jueves|viernes|sabado|domingo|semana|todavia|aun|mejor"
    r"|solo|factura|recibo|cotizacion|cita)\b|\bcall\w*( me| us)?( but| just)? (text|txt|e?mail|write)\b"
)
# The opposite of what the stop word says.
_NEGATED = re.compile(r"\bno (se )?(pare|paren|parar|cancele|cancelen|cancelar|detenga|detengan)\b")
# Nothing is asked for, but somebody should read it before anything else is sent.
_SOUNDS_LIKE_IT = re.compile(
    rf"\b(do not|dont|don t|never|stop|quit|no longer)( \w+){{0,3}} {_WRITING}|\bno {_ESCRIBIR}"
    r"|\b(not interested|spam|unwanted|harass\w*|report(ed|ing)|complain\w*|lawyer|attorney|enough|blocked|consent)\b"
    r"|\bwho is this\b|\bhow did (you|u) get\b|\bsign(ed)? up\b"
    r"|\b(no me interesa|acoso|abogado|queja|denunci\w+|quien es|desuscri\w+|de baja)\b"
)
_SENTENCE = re.compile(r"[.!?;\n]+")
_SAYS_STOP = ("stop", "stopall", "unsubscribe", "optout", "basta")


def meaning_of(text: str) -> Reply:
    """What the reply asks for."""
    words = _plain_words(text)
    plain = " ".join(words)
    everything = bool(_ALL.search(plain)) or "stopall" in words
    if _NEGATED.search(plain):
        return Reply(Meaning.UNCLEAR)
    if _is_only(words, (*STOP_WORDS, *STOP_WORDS_ALONE)):
        return Reply(Meaning.STOP, everything)
    if _is_only(words, START_WORDS):
        return Reply(Meaning.START)
    if _asks_for_no_more(text, plain):
        return Reply(Meaning.STOP, everything)
    sounds_like_it = _PHRASES.search(plain) or _SOUNDS_LIKE_IT.search(plain)
    if sounds_like_it or any(_spells(word, STOP_WORDS) for word in _together(words)):
        return Reply(Meaning.UNCLEAR)
    return Reply(Meaning.OTHER)


def _asks_for_no_more(text: str, plain: str) -> bool:
    """In a phrase that means nothing else, or in one sentence among others."""
    if _ABOUT_MORE.search(plain):
        return False
    if any(_is_only(_plain_words(sentence), _SAYS_STOP) for sentence in _SENTENCE.split(text)):
        return True
    asks = "?" in text and not _POLITE.search(plain)
    return not asks and bool(_PHRASES.search(plain))


def _plain_words(text: str) -> list[str]:
    """Small letters without accents, marks or look-alikes, and without numbers at a word's ends."""
    decomposed = unicodedata.normalize("NFKD", text.replace("\N{OCTAGONAL SIGN}", " stop ")).casefold()
    letters = "".join(c for c in decomposed if not unicodedata.combining(c) and unicodedata.category(c) != "Cf")
    words = re.sub(r"['’`]", "", letters)
    words = re.sub(r"(?<=[^\W\d_])0|0(?=[^\W\d_])", "o", words)
    return [word.strip("0123456789") or word for word in re.findall(r"[^\W_]+", words)]


def _together(words: Iterable[str]) -> list[str]:
    """What is one word in meaning as one word: `opt out`, `no more`."""
    return _TOGETHER.sub(lambda found: found.group().replace(" ", ""), " ".join(words)).split()


def _is_only(words: list[str], known: tuple[str, ...]) -> bool:
    """Whether the words are one of the known ones, with nothing beside it that could change its meaning; or one of them
    with its letters written apart."""
    if "".join(words) in known:
        return True
    together = _together(words)
    named = [word for word in together if _spells(word, known)]
    return bool(named) and all(word in _BESIDE or word in named for word in together)


def _spells(word: str, known: tuple[str, ...]) -> bool:
    """The word itself, with letters drawn out (`stoppp`, `STOOOP`), or `unsubscribe` as people type it."""
    return (
        word in known
        or (bool(re.search(r"(.)\1\1", word)) and _drawn_in(word) in map(_drawn_in, known))
        or (len(word) > 3 and word[-1] == word[-2] and word[:-1] in known)
        or ("unsubscribe" in known and _is_nearly_unsubscribe(word))
    )


def _is_nearly_unsubscribe(word: str) -> bool:
    return word.startswith("un") and bool(get_close_matches(word, ["unsubscribe"], cutoff=0.8))


def _drawn_in(word: str) -> str:
    return re.sub(r"(.)\1+", r"\1", word)
