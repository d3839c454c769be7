"""The demo's customers: invented names, numbers from the range kept for fiction, addresses at example.com."""

import random
import unicodedata
from dataclasses import dataclass
from datetime import date, timedelta

from routing.demo.domain.names import person_names

CUSTOMERS = 420
FIRMS = 15  # letting firms with five houses each
SPANISH_SHARE = 0.14
NO_EMAIL_SHARE = 0.06
NO_PHONE_SHARE = 0.04
OPTED_OUT = 14
NEW_SHARE = 0.09
DAYS_WITH_US = 1_095

# Area codes that belong to no place, with the exchange 555-01xx that is kept for fiction (from memory).
PLACELESS_AREA_CODES = (500, 521, 522, 533, 544)
SOURCES = ("neighbour", "yard sign", "web form", "door hanger", "telephone call", "past customer")
WORDING = {
    "en": "May we remind you by {channel} when your siding is due? You can say stop at any time.",
    "es": "¿Podemos avisarle por {channel} cuando toque lavar su revestimiento? Puede decir basta cuando quiera.",
}
CHANNEL_WORDS = {"en": {"email": "email", "text": "text message"}, "es": {"email": "correo", "text": "mensaje"}}
FIRM_WORDS = ("Rentals", "Homes", "Letting", "Residences", "Property Care")


@dataclass(frozen=True, slots=True)
class ConsentSpec:
    """A yes or no to reminders on one channel."""

    channel: str
    given: bool
    wording: str
    source: str
    on: date


@dataclass(frozen=True, slots=True)
class CustomerSpec:
    """One customer to be; `houses` is how many properties are theirs."""

    reference: str
    name: str
    email: str
    phone_e164: str
    language: str
    source: str
    note: str
    since: date
    houses: int
    consents: tuple[ConsentSpec, ...]


def customers_make(rng: random.Random, *, today: date) -> list[CustomerSpec]:
    """All customers with their consents, dated within the three years before `today`."""
    spanish = round((CUSTOMERS - FIRMS) * SPANISH_SHARE)
    english = CUSTOMERS - FIRMS - spanish
    people = [(f"{first} {family}", "en") for first, family in person_names(rng, spanish=False, count=english)]
    people += [(f"{first} {family}", "es") for first, family in person_names(rng, spanish=True, count=spanish)]
    rng.shuffle(people)
    firms = person_names(rng, spanish=False, count=FIRMS)
    named = [(f"{family} {rng.choice(FIRM_WORDS)}", "en", 5) for _, family in firms]
    named += [(name, language, 1) for name, language in people]
    opted_out = set(rng.sample(range(FIRMS, CUSTOMERS), OPTED_OUT))
    return [
        _customer(rng, number, name, language, houses, number in opted_out, today)
        for number, (name, language, houses) in enumerate(named)
    ]


def _customer(
    rng: random.Random, number: int, name: str, language: str, houses: int, opted_out: bool, today: date
) -> CustomerSpec:
    new = houses == 1 and rng.random() < NEW_SHARE
    days = rng.randint(3, 35) if new else round(DAYS_WITH_US * (0.05 + 0.95 * rng.random() ** 0.52))
    since = today - timedelta(days=days)
    email = "" if houses == 1 and rng.random() < NO_EMAIL_SHARE else f"{_plain(name)}@example.com"
    phone = "" if houses == 1 and rng.random() < NO_PHONE_SHARE else phone_number(number)
    channels = [word for word, have in (("email", email), ("text", phone)) if have]
    consents = _consents(rng, channels, language, opted_out, since, today)
    note = "Ask for the office." if houses > 1 else ""
    return CustomerSpec(
        f"demo-c{number + 1:04}", name, email, phone, language, rng.choice(SOURCES), note, since, houses, consents
    )


def phone_number(number: int) -> str:
    """The number-th telephone number of the range kept for fiction, E.164; at most 500 are told apart."""
    area = PLACELESS_AREA_CODES[number // 100 % len(PLACELESS_AREA_CODES)]
    return f"+1{area}55501{number % 100:02}"


def _consents(
    rng: random.Random, channels: list[str], language: str, opted_out: bool, since: date, today: date
) -> tuple[ConsentSpec, ...]:
    """Most said yes on some channel; a few said stop later; a few were never asked."""
    found = []
    for channel in channels:
        if rng.random() < (0.82 if channel == "email" else 0.64):
            words = WORDING[language].format(channel=CHANNEL_WORDS[language][channel])
            found.append(ConsentSpec(channel, True, words, "booking call", since))
    if opted_out:
        days = (today - since).days
        stopped = since + timedelta(days=rng.randint(days // 2, max(days // 2, days - 2)))
        found += [ConsentSpec(channel, False, "", "reply", stopped) for channel in channels]
    return tuple(found)


def _plain(name: str) -> str:
    ascii_name = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii")
    return ".".join(ascii_name.lower().split())
