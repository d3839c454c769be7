"""What a reminder must carry, and what it must not promise."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.reminders.domain.lint import Sender, claims, fears, lint

LINK = "https://wash.example.com/opt-out/e1.abc/"
SENDER = Sender(
    name="Sample Wash",
    postal_address="1 Yard Lane, Sampleton, OH 00001",
    phone="+15555550100",
    email="office@example.com",
    site_url="https://wash.example.com",
    leaves_by_internet=True,
)
BODY = f"House wash is due.\nSample Wash\n1 Yard Lane, Sampleton, OH 00001\n{LINK}"


def codes(
    body: str = BODY, *, channel: str = "email", parts: int = 1, sender: Sender = SENDER, **over: Any
) -> list[str]:
    return [
        finding.code
        for finding in lint(
            over.get("subject", "Due"), body, channel=channel, opt_out_link=LINK, sms_parts=parts, sender=sender
        )
    ]


def test_a_good_message_passes() -> None:
    """Nothing is found in a message that carries everything."""
    assert codes() == []


@pytest.mark.parametrize(
    ("sender", "channel", "code"),
    [
        (replace(SENDER, name="Another"), "email", "no_name"),
        (replace(SENDER, postal_address=""), "email", "no_postal_address"),
        (replace(SENDER, postal_address="2 Other Lane"), "email", "no_postal_address"),
        (replace(SENDER, email=""), "email", "no_sender_email"),
        (replace(SENDER, phone=""), "text", "no_phone"),
        (replace(SENDER, site_url="http://wash.example.com"), "email", "site_not_https"),
    ],
)
def test_what_is_missing_of_the_sender_is_named(sender: Sender, channel: str, code: str) -> None:
    """Each rule has its own code."""
    assert code in codes(sender=sender, channel=channel)


def test_a_text_needs_no_postal_address() -> None:
    """The rule on postal addresses is about mail (15 USC 7704(a)(5))."""
    assert codes(channel="text", sender=replace(SENDER, postal_address="")) == []


def test_a_plain_link_is_good_enough_for_the_folder() -> None:
    """https is asked for only where messages leave the machine."""
    plain = replace(SENDER, site_url="http://127.0.0.1:8000", leaves_by_internet=False)
    assert "site_not_https" not in codes(sender=plain)


def test_a_message_without_its_opt_out_is_refused() -> None:
    """The very link of this customer must be in the text."""
    assert codes(BODY.replace(LINK, "https://wash.example.com/")) == ["no_opt_out"]


@pytest.mark.parametrize(
    "link", ["https://elsewhere.example.com/x", "https://wash.example.com.evil.example/", "www.x.io"]
)
def test_a_link_to_elsewhere_is_refused(link: str) -> None:
    """Our own site only, compared by its whole address."""
    assert codes(f"{BODY}\n{link}") == ["foreign_link"]


def test_more_than_one_part_is_a_warning() -> None:
    """It does not stop the message."""
    (finding,) = lint("", BODY, channel="text", opt_out_link=LINK, sms_parts=2, sender=SENDER)
    assert (finding.code, finding.is_warning) == ("many_parts", True)
    assert codes(channel="text", parts=1) == []


@pytest.mark.parametrize(
    "text",
    [
        "Our wash kills mold.",
        "Prevents algae all year",
        "We control mildew and moss",
        "Keeps mold away",
        "protects your home against algae",
        "Algae-free walls",
        "Nuestro lavado mata el moho",
        "elimina las algas",
        "previene los hongos",
        "With mildewcide",
        "We sanitize your walls",
        "An antimicrobial finish",
    ],
)
def test_claims_against_growth_are_found(text: str) -> None:
    """EPA's line of 2011: control, kill or prevent is a pesticidal claim."""
    assert claims(text) == [text.strip(".")]


@pytest.mark.parametrize(
    "text",
    [
        "Acaba con el moho", "Termina con las algas", "Adiós al moho", "Casa sin moho", "sin algas todo el año",
        "libres de hongos", "No more mold", "keeps algae from coming back", "Kills 99.9% of germs",
        "prevents regrowth", "stops regrowth", "treats mold at the root", "inhibits mildew", "guards against algae",
        "fights mold", "combate el moho", "ataca el moho", "erradica las algas", "Mold killer", "mold-killing wash",
        "mildew killer", "anti-mold treatment", "antimoho", "anti moho", "fungicida", "bactericida", "alguicida",
        "antifungal", "biocide", "wipes out algae", "rid your home of mold", "gets rid of mold for good",
        "mold won't come back", "the moss does not return", "algae will not grow back", "que no vuelva el moho",
        "evita que vuelva a crecer el musgo", "impide el moho", "protege contra el moho", "protección contra hongos",
        "mold protection", "mold prevention", "algae control", "control de moho", "control de algas",
        "prevención de moho", "eliminación de moho", "elimina bacterias", "desinfecta", "sanitizes", "sterilize",
        "esteriliza", "Mata-moho", "matamos el moho", "kill the mould", "destroys lichens", "zaps mildew",
        "mold resistant", "resists algae", "repels moss", "suppresses growth", "stop the growth",
        "detiene el crecimiento", "frena el verdín", "kill off the green stuff", "long-lasting algae protection",
        "keep mildew at bay", "mantiene lejos el moho", "keep your siding mold free",
    ],
)  # fmt: skip
def test_a_claim_is_found_in_other_words(text: str) -> None:
    """English and Spanish, with the promise before or behind what grows, or in one word."""
    assert claims(text) == [text]


@pytest.mark.parametrize(
    "text",
    [
        "House wash", "Lavado de casa", "We take off dirt and growth", "Removes stains of algae",
        "Quitamos las manchas de moho", "limpia el musgo del techo", "Moss removal from the roof",
        "Roof wash: moss and lichen taken off", "Pest control next door? Ask them.", "The north side is green again",
        "Gutter clearing", "Call us", "gets rid of stains", "Eliminamos las manchas de tierra",
        "the wall read 2 last June", "free estimate", "No more than 2 parts", "without obligation", "sin compromiso",
    ],
)  # fmt: skip
def test_plain_offers_are_neither_claims_nor_threats(text: str) -> None:
    assert (claims(text), fears(text)) == ([], [])


@pytest.mark.parametrize(
    "text",
    [
        "Last chance", "Act now!", "before it is too late", "Urgent: your siding", "It rots the wall", "a health risk",
        "¡Última oportunidad!", "Dese prisa", "antes de que sea demasiado tarde", "es peligroso", "arruina la pared",
    ],
)  # fmt: skip
def test_fear_is_a_warning(text: str) -> None:
    """Never in our own words; a name of the owner's that holds such a word still goes, and the office sees it."""
    (finding,) = lint("", f"{BODY}\n{text}", channel="email", opt_out_link=LINK, sms_parts=0, sender=SENDER)
    assert (finding.code, finding.is_warning) == ("fear", True)


@pytest.mark.parametrize(
    "text",
    [
        "Removes stains of algae and mold.",
        "We take off dirt and growth",
        "Pest control next door? Ask them.",
        "Stop by any time. Moss grows.",
        "The control joint was caulked",
        "Quitamos las manchas de moho",
    ],
)
def test_cleaning_is_no_claim(text: str) -> None:
    """Removing stains is not pesticidal, and words in different sentences do not add up."""
    assert claims(text) == []


@given(st.text(max_size=200), st.sampled_from(["kills mold", "Prevents ALGAE", "mata el moho"]), st.text(max_size=200))
def test_a_claim_is_found_wherever_it_stands(before: str, claim: str, after: str) -> None:
    """On a line of its own among any other text."""
    assert any(claim in found for found in claims(f"{before}\n{claim}\n{after}"))


@given(st.text(max_size=300), st.text(max_size=300))
def test_no_text_breaks_the_lint(subject: str, body: str) -> None:
    """Whatever is in it, and a text without name and link is never accepted."""
    assert {"no_name", "no_opt_out"} <= set(codes(body, subject=subject)) or SENDER.name in body
