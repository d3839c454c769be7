"""When two rows speak of the same customer or the same address, though they are written differently."""

from hashlib import blake2b
from typing import Protocol

from .columns import plain

# Words of street addresses and their usual short forms (after USPS Publication 28, appendix C1, from memory).
SHORT = {
    "street": "st", "avenue": "ave", "av": "ave", "road": "rd", "drive": "dr", "lane": "ln", "court": "ct",
    "circle": "cir", "place": "pl", "boulevard": "blvd", "terrace": "ter", "trail": "trl", "highway": "hwy",
    "parkway": "pkwy", "square": "sq", "north": "n", "south": "s", "east": "e", "west": "w", "apartment": "apt",
    "unit": "apt", "suite": "ste", "number": "apt",
}  # fmt: skip


def name_key(name: str) -> str:
    """A name without case, accents, punctuation and the order of its parts ("Doe, Jane" is "Jane Doe")."""
    return " ".join(sorted(plain(name).split())) or name.strip().casefold()


def street_key(street: str) -> str:
    """A street address with its usual words in their short forms."""
    return " ".join(SHORT.get(word, word) for word in plain(street).split()) or street.strip().casefold()


def digest(*parts: object) -> int:
    """64 bits that stand for `parts` in an index; equal parts give equal numbers on every machine."""
    text = "\x1f".join(map(str, parts))
    return int.from_bytes(blake2b(text.encode("utf-8", "surrogatepass"), digest_size=8).digest(), "big")


def customer_keys(*, name: str, phone: str, email: str, street: str) -> list[int]:
    """Pairs of facts, each of which is enough to take two rows for one customer.

    One fact is not enough: families share a telephone number, namesakes exist, houses are sold.
    """
    facts = {
        "name": name_key(name) if name else "",
        "phone": phone,
        "email": email.lower(),
        "street": street_key(street) if street else "",
    }
    pairs = (("phone", "name"), ("email", "name"), ("phone", "street"), ("email", "street"), ("name", "street"))
    return [digest(a, b, facts[a], facts[b]) for a, b in pairs if facts[a] and facts[b]]


class Addressed(Protocol):
    """Whatever has an address; empty texts for what is not known."""

    @property
    def street(self) -> str: ...
    @property
    def city(self) -> str: ...
    @property
    def postal_code(self) -> str: ...


def same_address(one: Addressed, other: Addressed) -> bool:
    """Whether two addresses are one, however they are written."""
    return street_key(one.street) == street_key(other.street) and same_town(one, other)


def same_town(one: Addressed, other: Addressed) -> bool:
    """Whether neither city nor ZIP speaks against one place."""
    return same_place(one.city, one.postal_code, other.city, other.postal_code)


def same_place(city: str, postal_code: str, other_city: str, other_postal_code: str) -> bool:
    """Whether two addresses with the same street may be one: neither city nor ZIP speaks against it."""
    cities = {plain(city), plain(other_city)} - {""}
    codes = {postal_code[:5].upper(), other_postal_code[:5].upper()} - {""}
    return len(codes) < 2 and (len(cities) < 2 or len(codes) == 1 and bool(postal_code and other_postal_code))
