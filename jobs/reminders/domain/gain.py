"""Whom to hold back, and what the reminders brought beyond what would have come anyway.

Some customers do come back by themselves. So a few per cent of those who would get a reminder are held back by a draw;
the share of them who book within ANSWERED_WITHIN, taken from the share of those who were written to, is the gain.

The draw is a digest of a stored seed, the customer and the campaign, so it can be repeated by anybody who knows the
seed, and choosing other lines or asking twice draws nothing anew.

The interval of the gain is Newcombe's hybrid score interval (R. G. Newcombe, Statistics in Medicine 17, 1998, pp.
873-890, method 10) made of Wilson's intervals of the two shares. Over several campaigns it is the stratified one of
X. Yan and X. G. Su (Statistics in Biopharmaceutical Research 2, 2010, pp. 329-335) with Mantel-Haenszel weights, so
that a change of the held-back share from one campaign to the next biases nothing; for one campaign it is Newcombe's.
"""

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from scipy.special import ndtr, ndtri
from scipy.stats import binomtest

ANSWERED_WITHIN = timedelta(days=45)  # a job taken down later came by itself; our choice, no source
CONFIDENCE = 0.90
_ALL_DRAWS = 2**64


def campaign_of(due_on: date) -> date:
    """The campaign of a due date: the first day of its month."""
    return due_on.replace(day=1)


def is_held_back(*, seed: str, customer_id: int, campaign: date, percent: int) -> bool:
    """Whether the draw holds a customer back in a campaign: true for `percent` of all customers."""
    digest = hashlib.sha256(f"{seed}:{customer_id}:{campaign.isoformat()}".encode()).digest()
    return int.from_bytes(digest[:8], "big") * 100 < percent * _ALL_DRAWS


@dataclass(frozen=True, slots=True)
class Arm:
    """People of one campaign who were treated alike, and how many of them booked."""

    people: int
    booked: int

    def __post_init__(self) -> None:
        if not 0 <= self.booked <= self.people:
            raise ValueError(f"{self.booked} of {self.people} is no share.")

    @property
    def share(self) -> float | None:
        return self.booked / self.people if self.people else None

    def __add__(self, other: "Arm") -> "Arm":
        return Arm(self.people + other.people, self.booked + other.booked)


@dataclass(frozen=True, slots=True)
class Gain:
    """Difference of two shares, reminded less held back, with its interval; from -1 to 1."""

    value: float
    low: float
    high: float


def gain(campaigns: Sequence[tuple[Arm, Arm]], *, confidence: float = CONFIDENCE) -> Gain | None:
    """The gain over all campaigns, each a pair of those reminded and those held back; None where none has both."""
    pairs = [(told, held) for told, held in campaigns if told.people and held.people]
    if not pairs:
        return None
    weights = [told.people * held.people / (told.people + held.people) for told, held in pairs]
    one, one_low, one_high = _share([told for told, _held in pairs], weights, confidence)
    two, two_low, two_high = _share([held for _told, held in pairs], weights, confidence)
    return Gain(
        value=one - two,
        low=one - two - math.hypot(one - one_low, two_high - two),
        high=one - two + math.hypot(one_high - one, two - two_low),
    )


def _share(arms: Sequence[Arm], weights: Sequence[float], confidence: float) -> tuple[float, float, float]:
    """Weighted share of those who booked, and its stratified Wilson interval."""
    parts = [weight / sum(weights) for weight in weights]
    inner = _inner_confidence(arms, parts, confidence)
    bounds = [binomtest(arm.booked, arm.people).proportion_ci(inner, method="wilson") for arm in arms]
    share = sum(part * arm.booked / arm.people for part, arm in zip(parts, arms, strict=True))
    low = sum(part * bound.low for part, bound in zip(parts, bounds, strict=True))
    high = sum(part * bound.high for part, bound in zip(parts, bounds, strict=True))
    return share, low, high


def _inner_confidence(arms: Sequence[Arm], parts: Sequence[float], confidence: float) -> float:
    """How sure the interval of each campaign must be for their weighted sum to be as sure as `confidence`.

    Independent errors partly cancel: z shrinks by sqrt(sum w^2 v) / sum w sqrt(v). The variance v is taken at the
    middle of Wilson's interval, which unlike the share itself is never 0 or 1.
    """
    z = float(ndtri((1 + confidence) / 2))
    errors = [part * math.sqrt(_variance(arm, z)) for arm, part in zip(arms, parts, strict=True)]
    inner = z * math.hypot(*errors) / sum(errors)
    return float(2 * ndtr(inner) - 1)


def _variance(arm: Arm, z: float) -> float:
    middle = (arm.booked + z * z / 2) / (arm.people + z * z)
    return middle * (1 - middle) / arm.people
