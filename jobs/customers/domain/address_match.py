"""Whether what an address register answers is the house that was asked for.

A wrong place sends a crew to the wrong street, so only a house is taken without asking a person: the same house
number, and the same ZIP code where both sides know one. Entries of one house (its building and its address point)
lie within SAME_HOUSE_METRES of each other; our choice, no source.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from shared.geo import great_circle_metres

SAME_HOUSE_METRES = 60.0
_HOUSE_NUMBER = re.compile(r"^\s*(?:#\s*)?(\d+(?:[-/]\d+)?\s?[a-z]?)(?=[\s,.]|$)", re.IGNORECASE)


class Outcome(StrEnum):
    FOUND = "found"
    UNSURE = "unsure"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Candidate:
    """One answer of the register; degrees, and empty texts for what it does not say."""

    latitude: float
    longitude: float
    text: str
    house_number: str = ""
    postal_code: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """What the answers come to. `place` is there only when `outcome` is FOUND."""

    outcome: Outcome
    place: Candidate | None = None


def house_number(street: str) -> str:
    """The number with which a street line begins, in small letters without spaces; empty where there is none."""
    found = _HOUSE_NUMBER.match(street)
    return _plain(found.group(1)) if found else ""


def best_match(candidates: Sequence[Candidate], *, street: str, postal_code: str) -> Finding:
    """The house itself, or that a person has to choose, or that there is nothing to choose from."""
    if not candidates:
        return Finding(Outcome.NOTHING)
    fitting = [each for each in candidates if _is_the_house(each, house_number(street), postal_code)]
    if fitting and all(_metres(fitting[0], other) <= SAME_HOUSE_METRES for other in fitting[1:]):
        return Finding(Outcome.FOUND, fitting[0])
    return Finding(Outcome.UNSURE)


def _is_the_house(candidate: Candidate, number: str, postal_code: str) -> bool:
    asked, answered = _plain(postal_code), _plain(candidate.postal_code)
    same_area = not asked or not answered or asked[:5] == answered[:5]
    return bool(number) and _plain(candidate.house_number) == number and same_area


def _plain(text: str) -> str:
    return "".join(text.split()).lower()


def _metres(one: Candidate, other: Candidate) -> float:
    return great_circle_metres(one.latitude, one.longitude, other.latitude, other.longitude)
