"""Whether two entries of one customer are one house, and what speaks against it."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

from shared.geo import great_circle_metres

from .address_match import SAME_HOUSE_METRES, house_number
from .identity import same_town, street_key


class Doubt(StrEnum):
    """What speaks for two houses."""

    NUMBER = "number"
    STREET = "street"
    TOWN = "town"
    FAR = "far"


@dataclass(frozen=True, slots=True)
class House:
    """One entry: empty texts for what is not known; `at` in degrees, where its place is known."""

    number: int
    customer: int
    street: str
    city: str = ""
    postal_code: str = ""
    at: tuple[float, float] | None = None


def doubts(one: House, other: House) -> tuple[Doubt, ...]:
    """All that speaks against one house; none where only the way of writing differs."""
    found = []
    if house_number(one.street) != house_number(other.street):
        found.append(Doubt.NUMBER)
    elif street_key(one.street) != street_key(other.street):
        found.append(Doubt.STREET)
    if not same_town(one, other):
        found.append(Doubt.TOWN)
    if one.at and other.at and great_circle_metres(*one.at, *other.at) > SAME_HOUSE_METRES:
        found.append(Doubt.FAR)
    return tuple(found)


def twins(houses: Iterable[House]) -> list[tuple[int, int]]:
    """Pairs of entries of one customer that have one address, however it is written; the lower number first."""
    alike: dict[tuple[int, str], list[House]] = {}
    for house in houses:
        alike.setdefault((house.customer, street_key(house.street)), []).append(house)
    pairs = (pair for those in alike.values() for pair in combinations(those, 2))
    return sorted(
        (min(one.number, two.number), max(one.number, two.number)) for one, two in pairs if same_town(one, two)
    )
