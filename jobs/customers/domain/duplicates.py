"""Which entries may be the same customer: the same number, the same mail address, or the same house.

One fact alone proves nothing (families share a telephone, houses are sold), so a person decides.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

from .identity import same_town, street_key

PHONE, EMAIL, HOUSE = "phone", "email", "house"
# Whoever shares a fact with so many others shares an office or a placeholder and says nothing about anybody.
MOST_SHARING = 8


@dataclass(frozen=True, slots=True)
class Entry:
    """One customer, or one of their houses: `number` is the customer's; empty texts for what is not known."""

    number: int
    phone: str = ""
    email: str = ""
    street: str = ""
    city: str = ""
    postal_code: str = ""


@dataclass(frozen=True, slots=True)
class Alike:
    """Two customers, the lower number first, and the facts that they share."""

    first: int
    second: int
    facts: tuple[str, ...]


def alike(entries: Iterable[Entry]) -> list[Alike]:
    """Pairs that share a fact, those with most facts first."""
    sharing: dict[tuple[str, str], list[Entry]] = {}
    for entry in entries:
        house = street_key(entry.street) if entry.street else ""
        for fact, value in ((PHONE, entry.phone), (EMAIL, entry.email.lower()), (HOUSE, house)):
            if value:
                sharing.setdefault((fact, value), []).append(entry)
    found: dict[tuple[int, int], set[str]] = {}
    for (fact, _value), those in sharing.items():
        if 1 < len({entry.number for entry in those}) <= MOST_SHARING:
            for one, two in combinations(those, 2):
                if one.number != two.number and (fact != HOUSE or same_town(one, two)):
                    found.setdefault((min(one.number, two.number), max(one.number, two.number)), set()).add(fact)
    pairs = [Alike(first, second, tuple(sorted(facts))) for (first, second), facts in found.items()]
    return sorted(pairs, key=lambda pair: (-len(pair.facts), pair.first, pair.second))
