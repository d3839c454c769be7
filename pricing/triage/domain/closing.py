"""How often people say yes, by price against the rate card: a beta-binomial estimate in each band of prices.

Each band starts from the share of all bands together (with one yes and one no added), as if STRENGTH answers had been
heard; its own answers then move it. The interval is the middle 80 % of the beta distribution. Bands and STRENGTH are
our choice, no source; the method is that of any textbook on Bayesian data analysis (beta prior, binomial answers).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from scipy.stats import beta

STRENGTH = 4.0
LOW, HIGH = 0.1, 0.9
EDGES_PERCENT = (95, 105, 120)  # of the card's price: below, at, above, far above


@dataclass(frozen=True, slots=True)
class Answer:
    price_cents: int
    card_price_cents: int
    said_yes: bool


@dataclass(frozen=True, slots=True)
class Band:
    """Prices from `from_percent` (None: from nothing) to below `to_percent` (None: without end) of the card's."""

    from_percent: int | None
    to_percent: int | None
    asked: int
    yes: int
    share: float
    low: float
    high: float


def close_rates(answers: Sequence[Answer]) -> tuple[Band, ...]:
    """Every band, also those with no answer yet. Cards of nothing count nowhere."""
    known = [answer for answer in answers if answer.card_price_cents > 0]
    overall = (sum(answer.said_yes for answer in known) + 1) / (len(known) + 2)
    edges = (None, *EDGES_PERCENT, None)
    return tuple(_band(known, edges[i], edges[i + 1], overall) for i in range(len(edges) - 1))


def band_of(price_cents: int, card_price_cents: int, bands: Sequence[Band]) -> Band | None:
    """The band in which a price lies; None without a card price."""
    if card_price_cents <= 0:
        return None
    return next(
        (band for band in bands if _is_in(price_cents, card_price_cents, band.from_percent, band.to_percent)), None
    )


def _band(answers: Sequence[Answer], first: int | None, end: int | None, overall: float) -> Band:
    mine = [answer for answer in answers if _is_in(answer.price_cents, answer.card_price_cents, first, end)]
    yes = sum(answer.said_yes for answer in mine)
    a, b = STRENGTH * overall + yes, STRENGTH * (1 - overall) + len(mine) - yes
    low, high = (float(beta.ppf(level, a, b)) for level in (LOW, HIGH))
    return Band(first, end, len(mine), yes, a / (a + b), low, high)


def _is_in(price: int, card: int, first: int | None, end: int | None) -> bool:
    return (first is None or price * 100 >= card * first) and (end is None or price * 100 < card * end)
