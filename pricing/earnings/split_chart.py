"""Where the bars of a shortfall's parts go: from cents to coordinates. The template only draws them."""

from dataclasses import dataclass

from pricing.earnings.domain.split import Shortfall
from pricing.earnings.wording import cause_words, whole_money

WIDTH = 328  # CSS pixels on the narrowest screen
ROW = 38
BAR = 12
EDGE = 2


@dataclass(frozen=True, slots=True)
class SplitBar:
    """One part, in the drawing's units; the label stands above its bar. ``takes`` marks what lowers an hour."""

    label: str
    value_text: str
    takes: bool
    label_y: int
    y: int
    x: float
    width: float


@dataclass(frozen=True, slots=True)
class SplitChart:
    width: int
    height: int
    zero_x: float
    bars: tuple[SplitBar, ...]


def split_chart(found: Shortfall, currency: str) -> SplitChart:
    """The parts one below the other: to the right of the line what takes, to the left what gives."""
    cents = [part for _, part in found.parts]
    low, high = min(0, *cents), max(0, *cents)
    scale = (WIDTH - 2 * EDGE) / max(1, high - low)
    zero = round(EDGE - low * scale, 1)
    bars = tuple(
        SplitBar(
            label=cause_words(cause),
            value_text=whole_money(part, currency),
            takes=part > 0,
            label_y=ROW * i + 14,
            y=ROW * i + 20,
            x=round(min(zero, zero + part * scale), 1),
            width=round(abs(part) * scale, 1),
        )
        for i, (cause, part) in enumerate(found.parts)
    )
    return SplitChart(WIDTH, ROW * len(bars) + 2, zero, bars)
