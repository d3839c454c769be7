"""Text can be read on its ground: contrast computed from the style sheet's own tokens.

WCAG 2.2, success criteria 1.4.3 (text 4.5:1, no rounding up) and 1.4.11 (parts of controls 3:1).
"""

import re
from pathlib import Path

import pytest

SHEET = Path(__file__).resolve().parents[3] / "shared" / "web" / "static" / "web" / "wallday.css"
ROOT_BLOCK = re.search(r":root \{(.*?)\}", SHEET.read_text(encoding="utf-8"), re.S).group(1)
TOKENS = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", ROOT_BLOCK))

TEXT = [
    *(
        (ink, ground)
        for ink in ("ink", "ink-soft", "accent", "warning")
        for ground in ("paper", "paper-raised", "paper-shade")
    ),
    ("accent-deep", "accent-wash"),
    ("accent", "accent-wash"),
    ("ink", "accent-wash"),
    ("ink", "warning-wash"),
    ("warning", "warning-wash"),
    *(("ink", f"grade-{number}") for number in ("one", "two", "three", "four", "five")),  # numbers on chalky walls
    ("on-accent", "accent"),
    ("on-accent", "accent-deep"),
]
PARTS = [("rule-strong", "paper"), ("rule-strong", "paper-raised"), ("accent", "paper"), ("warning", "paper")]


def luminance(colour: str) -> float:
    """Relative luminance as WCAG defines it."""
    channels = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(
    ("colour", "expected"),
    [("#767676", 4.542), ("#777777", 4.478), ("#ff0000", 3.998), ("#0000ff", 8.592), ("#000000", 21.0)],
)
def test_the_measure_itself(colour: str, expected: float) -> None:
    """Known contrasts on white: #767676 just passes, #777777 just fails."""
    assert contrast(colour, "#ffffff") == pytest.approx(expected, abs=0.001)


@pytest.mark.parametrize(("ink", "ground"), TEXT)
def test_text_can_be_read(ink: str, ground: str) -> None:
    """Every colour that text has stands out from every ground it is set on."""
    assert contrast(TOKENS[ink], TOKENS[ground]) >= 4.5


@pytest.mark.parametrize(("part", "ground"), PARTS)
def test_controls_can_be_seen(part: str, ground: str) -> None:
    """Borders of fields, focus rings and lines of charts stand out."""
    assert contrast(TOKENS[part], TOKENS[ground]) >= 3


def test_no_colour_is_written_outside_of_the_tokens() -> None:
    """A colour that is no token would not be checked here."""
    after = SHEET.read_text(encoding="utf-8").replace(ROOT_BLOCK, "")
    loose = set(re.findall(r"#[0-9a-f]{3,8}\b", after)) - {"#ffffff", "#1b1a17", "#57524a"}
    assert not loose
