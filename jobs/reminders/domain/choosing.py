"""Who should hear now: as many as fill the crews' free hours, and no more than they can wash.

A reminder brings a job with some probability, which is learned (`ResponseRate`) and shared by everybody of the same
kind and channel: if this spring people answer more often than expected, all of them do. So the work that a list of
reminders brings is uncertain in two ways, and both count: given the rates, each person answers or does not; and the
rates themselves are only known to within their posterior. `overflow` averages the first (a normal approximation of
the sum of independent yeses, good from about ten people on and cautious below) over quantiles of the second, taken
together for all groups, which is the worst case of their dependence.

People are taken in order of `urgency` while the chance that the work exceeds the room stays at or below MOST_OVERFLOW.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from scipy.special import ndtr
from scipy.stats import beta

MOST_OVERFLOW = 0.10
# Before anything was learned: about one in seven, and hardly known; ours, no source.
PRIOR_YES, PRIOR_NO = 1.0, 6.0
POSTERIOR_POINTS = tuple((2 * number + 1) / 18 for number in range(9))


@dataclass(frozen=True, slots=True)
class ResponseRate:
    """Answers so far of one kind and channel: `yes` of `asked` led to a job. Beta posterior with the prior above."""

    yes: int = 0
    asked: int = 0

    def __post_init__(self) -> None:
        if not 0 <= self.yes <= self.asked:
            raise ValueError(f"{self.yes} of {self.asked} is no share.")

    @property
    def mean(self) -> float:
        return (self.yes + PRIOR_YES) / (self.asked + PRIOR_YES + PRIOR_NO)

    def quantile(self, share: float) -> float:
        return float(beta.ppf(share, self.yes + PRIOR_YES, self.asked - self.yes + PRIOR_NO))


@dataclass(frozen=True, slots=True)
class Person:
    """One message that could go out: `group` names its response rate, `minutes` the crew-minutes that a yes takes."""

    key: str
    group: tuple[str, str]
    minutes: int
    overdue_days: int = 0
    nearest_metres: int | None = None
    last_contact_days: int | None = None


@dataclass(frozen=True, slots=True)
class Proposal:
    """Who should hear now, in order, and who waits; what the chosen are expected to bring, and the risk of too much."""

    chosen: tuple[str, ...]
    waiting: tuple[str, ...]
    expected_minutes: float
    overflow: float


def propose(people: Iterable[Person], rates: Mapping[tuple[str, str], ResponseRate], *, room_minutes: int) -> Proposal:
    """The longest list, by urgency, whose work exceeds `room_minutes` with a chance of at most MOST_OVERFLOW.

    Somebody whose job alone would not fit is passed over and the next one is tried.
    """
    grid = _Grid(rates)
    chosen: list[Person] = []
    waiting: list[Person] = []
    for person in sorted(people, key=urgency):
        trial = grid.with_one_more(person)
        if trial.overflow(room_minutes) <= MOST_OVERFLOW:
            grid = trial
            chosen.append(person)
        else:
            waiting.append(person)
    return Proposal(
        tuple(person.key for person in chosen),
        tuple(person.key for person in waiting),
        expected_minutes=sum(rates.get(person.group, ResponseRate()).mean * person.minutes for person in chosen),
        overflow=grid.overflow(room_minutes) if chosen else 0.0,
    )


def urgency(person: Person) -> tuple[float, int, str]:
    """Smaller comes first: a month overdue counts as much as a crew three kilometres nearer, a year without a word as
    much as two months overdue. The weights are ours, no source."""
    near = 0.0 if person.nearest_metres is None else max(0.0, 3.0 - person.nearest_metres / 1_000)
    silence = min(2.0, (person.last_contact_days if person.last_contact_days is not None else 365) / 182.5)
    score = person.overdue_days / 30 + near + silence
    return (-score, person.minutes, person.key)


@dataclass(frozen=True)
class _Grid:
    """Mean and variance of the minutes that come, at each point of the rates' common posterior."""

    rates: Mapping[tuple[str, str], ResponseRate]
    means: tuple[float, ...] = (0.0,) * len(POSTERIOR_POINTS)
    variances: tuple[float, ...] = (0.0,) * len(POSTERIOR_POINTS)

    def with_one_more(self, person: Person) -> "_Grid":
        points = _points(self.rates.get(person.group, ResponseRate()))
        means = (mean + rate * person.minutes for mean, rate in zip(self.means, points, strict=True))
        added = (rate * (1 - rate) * person.minutes**2 for rate in points)
        variances = (variance + more for variance, more in zip(self.variances, added, strict=True))
        return _Grid(self.rates, tuple(means), tuple(variances))

    def overflow(self, room_minutes: int) -> float:
        """The chance that more comes than there is room for."""
        return sum(map(_above, self.means, self.variances, [room_minutes] * len(self.means))) / len(self.means)


@lru_cache(maxsize=1024)
def _points(rate: ResponseRate) -> tuple[float, ...]:
    """The posterior's quantiles; remembered, since thousands of people share a few rates."""
    return tuple(rate.quantile(share) for share in POSTERIOR_POINTS)


def _above(mean: float, variance: float, room: float) -> float:
    if variance <= 0:
        return float(mean > room)
    return float(1 - ndtr((room - mean) / math.sqrt(variance)))
