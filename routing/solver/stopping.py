"""When to stop: by the clock in production, by counted rounds where runs must repeat exactly."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

LEAST_SECONDS = 0.01


class Stop(Protocol):
    """A rule for stopping. `started()` gives a fresh watch for one solve."""

    def started(self) -> "Watch": ...


class Watch(Protocol):
    """Asked while solving. A clock never runs out by rounds, a round count never by the clock."""

    def seconds(self) -> float: ...

    def seconds_left(self) -> float: ...

    def over(self, rounds: int) -> bool: ...

    def earlier(self, share: float) -> "Watch":
        """A watch that leaves this share of the clock's time for later."""
        ...

    def share(self, part: float) -> Stop:
        """A rule for one solve of several: this part of the time that is left, or as many rounds again."""
        ...


@dataclass(frozen=True, slots=True)
class TimeLimit:
    """Stop after so many seconds of wall clock."""

    limit_seconds: float

    def __post_init__(self) -> None:
        if not 0 < self.limit_seconds <= 86_400:
            raise ValueError("a time limit must be more than 0 and at most 86400 seconds")

    def started(self) -> Watch:
        return _Clock(time.monotonic(), self.limit_seconds)


@dataclass(frozen=True, slots=True)
class RoundLimit:
    """Stop after so many rounds of search; the clock is never asked, so every run is the same."""

    rounds: int

    def __post_init__(self) -> None:
        if self.rounds < 0:
            raise ValueError("a round limit must be 0 or more")

    def started(self) -> Watch:
        return _Rounds(time.monotonic(), self.rounds)


@dataclass(frozen=True, slots=True)
class _Clock:
    start: float
    limit_seconds: float

    def seconds(self) -> float:
        return time.monotonic() - self.start

    def seconds_left(self) -> float:
        return self.limit_seconds - self.seconds()

    def over(self, rounds: int) -> bool:
        return self.seconds_left() <= 0

    def earlier(self, share: float) -> "Watch":
        return _Clock(self.start, self.limit_seconds * (1 - share))

    def share(self, part: float) -> Stop:
        return TimeLimit(max(LEAST_SECONDS, self.seconds_left() * part))


@dataclass(frozen=True, slots=True)
class _Rounds:
    start: float
    rounds: int

    def seconds(self) -> float:
        return time.monotonic() - self.start

    def seconds_left(self) -> float:
        return float("inf")

    def over(self, rounds: int) -> bool:
        return rounds >= self.rounds

    def earlier(self, share: float) -> "Watch":
        return self

    def share(self, part: float) -> Stop:
        return RoundLimit(self.rounds)


@dataclass(frozen=True, slots=True)
class WatchUntil:
    """A watch that is over, too, once something has been reached."""

    watch: Watch
    reached: Callable[[], bool]

    def seconds(self) -> float:
        return self.watch.seconds()

    def seconds_left(self) -> float:
        return self.watch.seconds_left()

    def over(self, rounds: int) -> bool:
        return self.watch.over(rounds) or self.reached()

    def earlier(self, share: float) -> Watch:
        return WatchUntil(self.watch.earlier(share), self.reached)

    def share(self, part: float) -> Stop:
        return self.watch.share(part)
