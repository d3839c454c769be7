"""Who should hear now: as many as fill the crews' free hours, and no more than they can wash.

A reminder brings a job with some probability, which is learned (`ResponseRate`) and shared by everybody of the same
kind and channel: if this spring people answer more often than expected, all of them do. So the work that a list of
reminders brings is uncertain in two ways, and both count: given the rates, each person answers or does not; and the
rates themselves are only known to within their posterior. `overflow` averages the first (a normal approximation of
the sum of independent yeses, good from about ten people on and cautious below) over quantiles of the second, taken
together for all groups, which is the worst case of their dependence. Those who were asked before and may still
answer count from the beginning, with the chance that is left of them.

People are taken in order of `urgency` while the chance that the work exceeds the room stays at or below MOST_OVERFLOW.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from scipy.special import ndtr
from scipy.stats import beta

MOST_OVERFLOW = 0.10
# Before anything was learned: about one in seven, and hardly known; ours, no source.
PRIOR_YES, PRIOR_NO = 1.0, 6.0
# Of the answers that come, half come within so many days; ours, no source.
HALF_ANSWER_DAYS = 5.0
# Whoever answers late is offered days beyond the weeks that are to be filled: so much of the next week counts as room.
# Chosen by tests.benchmarks.reminders_spring; two fifths overbook every seventh week.
LATE_SHARE = 0.2
# What adds one to the urgency, the most that silence adds, and how long is silent who never heard; ours, no source.
OVERDUE_UNIT_DAYS, SILENCE_UNIT_DAYS, MOST_SILENCE, NEVER_COUNTS_DAYS = 30.0, 182.5, 2.0, 365
# What a visit on a crew's way adds, and how many minutes of detour take one off; ours, no source.
ON_THE_WAY, DETOUR_UNIT_MINUTES = 3.0, 5.0
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
    """One message that could go out: `group` names its response rate, `minutes` the crew-minutes that a yes takes,
    `detour_minutes` the driving that it would add to a route of the coming weeks (None: none passes by)."""

    key: str
    group: tuple[str, str]
    minutes: int
    overdue_days: int = 0
    detour_minutes: float | None = None
    last_contact_days: int | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """One message that went out `days` ago and has not been answered: the minutes that a yes would still take."""

    group: tuple[str, str]
    minutes: int
    days: int


class Wait(StrEnum):
    """Why somebody waits: nothing is free; those who were asked before may still fill it; the job alone is too long for
    what is free; it would no longer fit, and shorter jobs still did; those who come first fill it."""

    NO_ROOM = "no_room"
    ASKED_FILL_IT = "asked_fill_it"
    TOO_LONG = "too_long"
    SHORTER_FITTED = "shorter_fitted"
    OTHERS_FIRST = "others_first"


@dataclass(frozen=True, slots=True)
class Proposal:
    """Who should hear now, in order, and who waits, with the reason of each; what the chosen are expected to bring, and
    the risk of too much.

    `pending_minutes` is what is still expected of those who were asked before; the risk counts them too, and so do
    `low_minutes` and `high_minutes`, between which the work comes to lie with 80 % probability.
    """

    chosen: tuple[str, ...]
    waiting: tuple[str, ...]
    reasons: tuple[Wait, ...]
    expected_minutes: float
    overflow: float
    pending_minutes: float = 0.0
    low_minutes: float = 0.0
    high_minutes: float = 0.0


def propose(
    people: Iterable[Person],
    rates: Mapping[tuple[str, str], ResponseRate],
    *,
    room_minutes: int,
    later_room_minutes: int = 0,
    asked: Iterable[Asked] = (),
) -> Proposal:
    """The longest list, by urgency, whose work and that of those `asked` before exceeds the room with a chance of at
    most MOST_OVERFLOW.

    The room is `room_minutes` and LATE_SHARE of those of the week after, `later_room_minutes`. Somebody whose job
    alone would not fit is passed over and the next one is tried.
    """
    room = room_minutes + LATE_SHARE * later_room_minutes
    grid = pending = _with_asked(_Grid(rates), asked)
    chosen: list[Person] = []
    waiting: list[tuple[Person, int]] = []
    for person in sorted(people, key=urgency):
        trial = grid.with_one_more(person.minutes, _points(rates.get(person.group, ResponseRate())))
        if trial.overflow(room) <= MOST_OVERFLOW:
            grid = trial
            chosen.append(person)
        else:
            waiting.append((person, len(chosen)))
    return Proposal(
        tuple(person.key for person in chosen),
        tuple(person.key for person, _before in waiting),
        tuple(_reason(person, pending, room, is_passed=before < len(chosen)) for person, before in waiting),
        expected_minutes=sum(rates.get(person.group, ResponseRate()).mean * person.minutes for person in chosen),
        overflow=grid.overflow(room) if chosen else 0.0,
        pending_minutes=sum(pending.means) / len(pending.means),
        low_minutes=grid.quantile(0.1),
        high_minutes=grid.quantile(0.9),
    )


def _reason(person: Person, pending: "_Grid", room: float, *, is_passed: bool) -> Wait:
    """`is_passed`: somebody less urgent was chosen."""
    if room <= 0:
        return Wait.NO_ROOM
    if pending.overflow(room) > MOST_OVERFLOW:
        return Wait.ASKED_FILL_IT
    alone = pending.with_one_more(person.minutes, _points(pending.rates.get(person.group, ResponseRate())))
    if alone.overflow(room) > MOST_OVERFLOW:
        return Wait.TOO_LONG
    return Wait.SHORTER_FITTED if is_passed else Wait.OTHERS_FIRST


def _with_asked(grid: "_Grid", asked: Iterable[Asked]) -> "_Grid":
    for each in asked:
        points = _points(grid.rates.get(each.group, ResponseRate()))
        grid = grid.with_one_more(each.minutes, tuple(chance_left(point, each.days) for point in points))
    return grid


def chance_left(chance: float, days: int) -> float:
    """The chance of a yes from somebody who was silent for `days`: p s / (1 - p (1 - s)), Bayes' rule, where s is the
    share of answers that take longer."""
    slower = math.exp2(-days / HALF_ANSWER_DAYS)
    return chance * slower / (1 - chance * (1 - slower))


def urgency(person: Person) -> tuple[float, int, str]:
    """Smaller comes first: a month overdue counts as much as five minutes less of driving, a year without a word as
    much as two months overdue. The weights are ours, no source."""
    detour = math.inf if person.detour_minutes is None else person.detour_minutes
    near = max(0.0, ON_THE_WAY - detour / DETOUR_UNIT_MINUTES)
    silent_days = NEVER_COUNTS_DAYS if person.last_contact_days is None else person.last_contact_days
    score = person.overdue_days / OVERDUE_UNIT_DAYS + near + min(MOST_SILENCE, silent_days / SILENCE_UNIT_DAYS)
    return (-score, person.minutes, person.key)


@dataclass(frozen=True)
class _Grid:
    """Mean and variance of the minutes that come, at each point of the rates' common posterior."""

    rates: Mapping[tuple[str, str], ResponseRate]
    means: tuple[float, ...] = (0.0,) * len(POSTERIOR_POINTS)
    variances: tuple[float, ...] = (0.0,) * len(POSTERIOR_POINTS)

    def with_one_more(self, minutes: int, chances: tuple[float, ...]) -> "_Grid":
        """`chances` of a yes at each point."""
        means = (mean + chance * minutes for mean, chance in zip(self.means, chances, strict=True))
        added = (chance * (1 - chance) * minutes**2 for chance in chances)
        variances = (variance + more for variance, more in zip(self.variances, added, strict=True))
        return _Grid(self.rates, tuple(means), tuple(variances))

    def overflow(self, room: float) -> float:
        """The chance that more comes than there is room for."""
        return sum(map(_above, self.means, self.variances, [room] * len(self.means))) / len(self.means)

    def quantile(self, share: float) -> float:
        """The minutes that are not exceeded with probability `share`, to the minute; found by halving."""
        low, high = 0.0, max(self.means) + 8 * math.sqrt(max(self.variances))
        while high - low > 0.5:
            middle = (low + high) / 2
            low, high = (middle, high) if self.overflow(middle) > 1 - share else (low, middle)
        return high


@lru_cache(maxsize=1024)
def _points(rate: ResponseRate) -> tuple[float, ...]:
    """The posterior's quantiles; remembered, since thousands of people share a few rates."""
    return tuple(rate.quantile(share) for share in POSTERIOR_POINTS)


def _above(mean: float, variance: float, room: float) -> float:
    if variance <= 0:
        return float(mean > room)
    return float(1 - ndtr((room - mean) / math.sqrt(variance)))
