"""How many parts a text message takes: the alphabets of 3GPP TS 23.038, the part sizes of 3GPP TS 23.040.

A message in the 7-bit alphabet holds 160 septets, or 153 in each part where it needs several; in UCS-2 it holds 70
16-bit units, or 67 in each part (8-bit reference number, 3GPP TS 23.040, 9.2.3.24.1). A character of the extension
table costs two septets, one outside the basic plane two units; neither may be cut in two by a part's end.
"""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
EXTENSION = frozenset("\f^{}\\[~]|€")
GSM_7 = "GSM-7"
UCS_2 = "UCS-2"
_PLAIN = {"«": '"', "»": '"', "“": '"', "”": '"', "‘": "'", "’": "'", "–": "-", "—": "-", "…": "...", "\u00a0": " "}
_SIZES = {GSM_7: (160, 153), UCS_2: (70, 67)}


@dataclass(frozen=True)
class SmsCount:
    """`units` are septets (GSM-7) or 16-bit units (UCS-2); `odd_ones` forced UCS-2, in order of appearance."""

    encoding: str
    units: int
    parts: int
    odd_ones: tuple[str, ...] = ()


def sms_count(text: str) -> SmsCount:
    """Count the parts that `text` is sent in. An empty text is one part."""
    odd_ones = tuple(dict.fromkeys(c for c in text if c not in BASIC and c not in EXTENSION))
    encoding = UCS_2 if odd_ones else GSM_7
    costs = [_cost(character, encoding) for character in text]
    single, several = _SIZES[encoding]
    parts = 1 if sum(costs) <= single else _parts(costs, several)
    return SmsCount(encoding, sum(costs), parts, odd_ones)


def in_cheap_letters(text: str) -> str:
    """The text without the accents and quotation marks that the 7-bit alphabet lacks; other characters stay."""
    return "".join(_cheap(character) for character in text)


def in_cheap_letters_around(text: str, *, kept: Iterable[str]) -> str:
    """The same, but for each of `kept`: names and streets stay as people write them."""
    names = sorted({name for name in kept if name}, key=len, reverse=True)
    if not names:
        return in_cheap_letters(text)
    parts = re.split(f"({'|'.join(map(re.escape, names))})", text)
    return "".join(part if number % 2 else in_cheap_letters(part) for number, part in enumerate(parts))


def _cheap(character: str) -> str:
    if character in BASIC or character in EXTENSION:
        return character
    plain = _PLAIN.get(character) or unicodedata.normalize("NFD", character)[0]
    return plain if set(plain) <= BASIC else character


def _cost(character: str, encoding: str) -> int:
    if encoding == GSM_7:
        return 2 if character in EXTENSION else 1
    return 2 if ord(character) > 0xFFFF else 1


def _parts(costs: Sequence[int], size: int) -> int:
    parts, used = 1, 0
    for cost in costs:
        if used + cost > size:
            parts, used = parts + 1, 0
        used += cost
    return parts
