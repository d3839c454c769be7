"""What a reminder must say and must not say. Findings are codes; wording.py puts them into words.

A wash is sold as cleaning. "Kills, prevents or controls mold or algae" would be a pesticidal claim: 7 USC 136(u)
defines a pesticide by the intent to prevent, destroy, repel or mitigate a pest, and EPA's guidance of 2011 on mold and
algae stains draws the line at removing stains (as quoted by the California Department of Pesticide Regulation, 2012).
The sender's name, postal address and opt-out in mail: 15 USC 7704(a)(5). Checked on 2026-11-25; not legal advice.
"""

import re
from dataclasses import dataclass

from jobs.reminders.domain.consent import EMAIL, TEXT

MOST_PARTS = 1
_PEST = (
    r"(mold|mould|algae|alga\b|mildew|moss(es)?\b|lichen|fung(us|i)|bacteria|germs?\b|virus|spores?\b|growth"
    r"|moho|algas|hongos?|musgo|l[ií]quen|g[ée]rmen|esporas?|verd[ií]n|crecimiento)"
)
_PESTS = re.compile(_PEST, re.IGNORECASE)
_CLAIMS = re.compile(
    r"\b(prevent|control|destroy|eliminat|repel|inhibit|eradicat|mitigat|stops?\b|protect|keeps?\b|fight|fought|combat"
    r"|treat|guard|suppress|resist|zap|wipe|rid\b|exterminat|banish|defeat"
    r"|mata|previen|preven|evita|elimina|destruy|protecci|proteg|libres? de|acab|termin|atac|erradic|impid|imped|deten"
    r"|detien|fren|extermin|inhib|lejos)|-free\b|\bfree (of|from)\b|[- ]resistant\b|\bat bay\b"
    r"|(n['’]?t|\bnot|\bnever|\bno) (\w+ ){0,3}(come|grow|return|vuelv|regres|crec)"
    rf"|\b(no more|goodbye|adi[oó]s al?|sin) (\w+ )?{_PEST}|{_PEST}[- ]free\b",
    re.IGNORECASE,
)
_CLAIM_BY_ITSELF = re.compile(
    r"\b(\w*(mildew|alg\w{1,2}|fungi|bio|bacteri|germi)cid\w*|disinfect\w*|desinfect\w*|saniti[sz]\w*|sterili[sz]\w*"
    r"|esteriliz\w*|kill(s|ed|er|ers|ing)?\b|anti[- ]?(bacteri|microb|fung|mold|mould|mildew|alg|moss|moho|hongo)\w*)",
    re.IGNORECASE,
)
# Facts about the own walls, never fear: our manners, no source. The words are what pressure is made with.
_FEARS = re.compile(
    r"\b(urgent(ly)?|hurry|act now|last chance|final notice|before it(s| is) too late|too late|danger(ous)?|toxic"
    r"|hazard\w*|ruin(s|ed|ing)?|rot(s|ting)?|permanent(ly)? damage\w*|health risks?|lose value"
    r"|urgente|apres[uú]rese|dese prisa|[uú]ltim[oa] (oportunidad|aviso)|demasiado tarde|peligro\w*|t[oó]xic\w*"
    r"|arruin\w*|pudr\w*|da[nñ]os? permanentes?|riesgos? para la salud)\b",
    re.IGNORECASE,
)
_SENTENCE = re.compile(r"[!?;\n]+|\.(?!\d)")
_LINK = re.compile(r"\b(?:https?://|www\.)[^\s<>\"]+", re.IGNORECASE)


@dataclass(frozen=True)
class Finding:
    """`code` names the rule, `found` the words that broke it. A warning does not stop the message."""

    code: str
    found: str = ""
    is_warning: bool = False


@dataclass(frozen=True)
class Sender:
    """What a message must carry of the company. `site_url` is the only place its links may lead to."""

    name: str
    postal_address: str
    phone: str
    email: str
    site_url: str
    leaves_by_internet: bool


def lint(subject: str, body: str, *, channel: str, opt_out_link: str, sms_parts: int, sender: Sender) -> list[Finding]:
    """Everything that is wrong with a message, the refusals first. `opt_out_link` is the one that leads this person to
    the opt-out; it must be in the body."""
    text = f"{subject}\n{body}"
    findings = [
        *_sender_findings(channel, body, sender),
        *([] if opt_out_link and opt_out_link in body else [Finding("no_opt_out")]),
        *(Finding("claim", claim) for claim in claims(text)),
        *(Finding("foreign_link", link) for link in links(text) if not _is_ours(link, sender.site_url)),
        *(Finding("fear", fear, is_warning=True) for fear in fears(text)),
    ]
    if channel == TEXT and sms_parts > MOST_PARTS:
        findings.append(Finding("many_parts", str(sms_parts), is_warning=True))
    return findings


def claims(text: str) -> list[str]:
    """Sentences that promise to act against something that grows."""
    sentences = [sentence.strip() for sentence in _SENTENCE.split(text)]
    return [
        sentence
        for sentence in sentences
        if _CLAIM_BY_ITSELF.search(sentence) or (_CLAIMS.search(sentence) and _PESTS.search(sentence))
    ]


def links(text: str) -> list[str]:
    """Everything that leads to a page."""
    return _LINK.findall(text)


def fears(text: str) -> list[str]:
    """Words that press or frighten."""
    return [found.group() for found in _FEARS.finditer(text)]


def _sender_findings(channel: str, body: str, sender: Sender) -> list[Finding]:
    codes = []
    if not sender.name or sender.name not in body:
        codes.append("no_name")
    if channel == EMAIL and (not sender.postal_address or sender.postal_address not in body):
        codes.append("no_postal_address")
    if channel == EMAIL and not sender.email:
        codes.append("no_sender_email")
    if channel == TEXT and not sender.phone:
        codes.append("no_phone")
    if sender.leaves_by_internet and not sender.site_url.startswith("https://"):
        codes.append("site_not_https")
    return [Finding(code) for code in codes]


def _is_ours(link: str, site_url: str) -> bool:
    return link == site_url or link.startswith(site_url.rstrip("/") + "/")
