"""The day problem as frozen data: what `day-problem/1` says, nothing derived, nothing tuned.

All quantities are integers with the unit in the name. Times are minutes from any common zero. The
classes refuse what can never make sense (ValueError); `reading.parse_problem` is the place that
collects every fault of a file with its JSON path before one of these is built.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

FORMAT = "day-problem/1"

Window = tuple[int, int]
Table = tuple[tuple[int | None, ...], ...]


def _refuse(bad: bool, message: str) -> None:
    if bad:
        raise ValueError(message)


@dataclass(frozen=True, slots=True)
class Break:
    """One rest a day; `window` is when it may begin, ends included."""

    minutes: int
    window: Window
    paid: bool = False

    def __post_init__(self) -> None:
        _refuse(self.minutes < 0, "a break's minutes must be 0 or more")
        _refuse(self.window[0] > self.window[1], "a break's window must not be reversed")


@dataclass(frozen=True, slots=True)
class Overtime:
    """Paid minutes beyond `after_minutes` cost `extra_cents_per_minute` on top."""

    after_minutes: int
    extra_cents_per_minute: int

    def __post_init__(self) -> None:
        _refuse(self.after_minutes < 0, "overtime.after_minutes must be 0 or more")
        _refuse(self.extra_cents_per_minute < 0, "overtime must not be cheaper than other time")


@dataclass(frozen=True, slots=True)
class Prefer:
    """A bonus that is earned when this crew does the job."""

    crew: str
    cents: int

    def __post_init__(self) -> None:
        _refuse(self.cents < 0, "prefer.cents must be 0 or more")


@dataclass(frozen=True, slots=True)
class Crew:
    """One crew's day: where it starts and ends, when, with what skills, at what cost."""

    id: str
    start: str
    end: str
    shift: Window
    cents_per_minute: int
    cents_per_km: int
    fixed_cents: int
    skills: tuple[str, ...] = ()
    overtime: Overtime | None = None
    rest: Break | None = None
    capacity: Mapping[str, int] = field(default_factory=dict)
    pace_percent: int = 100

    def __post_init__(self) -> None:
        _refuse(self.shift[0] > self.shift[1], f"crew {self.id}: the shift is reversed")
        costs = (self.cents_per_minute, self.cents_per_km, self.fixed_cents)
        _refuse(min(costs) < 0, f"crew {self.id}: costs must be 0 or more")
        _refuse(self.pace_percent < 1, f"crew {self.id}: pace_percent must be 1 or more")

    def on_site_minutes(self, minutes: int) -> int:
        """This crew's minutes for work rated at `minutes`, rounded up to whole minutes."""
        return -(-minutes * self.pace_percent // 100)


@dataclass(frozen=True, slots=True)
class Job:
    """One stop that may be made: work begins inside one of `windows`, ends included."""

    id: str
    place: str
    on_site_minutes: int
    windows: tuple[Window, ...]
    gain_cents: int
    needs: tuple[str, ...] = ()
    uses: Mapping[str, int] = field(default_factory=dict)
    crews: tuple[str, ...] | None = None
    must_do: bool = False
    prefer: Prefer | None = None

    def __post_init__(self) -> None:
        _refuse(self.on_site_minutes < 0, f"job {self.id}: on_site_minutes must be 0 or more")
        _refuse(not self.windows, f"job {self.id}: at least one window is needed")
        reversed_window = any(opens > closes for opens, closes in self.windows)
        _refuse(reversed_window, f"job {self.id}: a window is reversed")

    def gain_with(self, crew_id: str) -> int:
        """Cents that this crew earns with the job, an earned bonus included."""
        bonus = self.prefer.cents if self.prefer and self.prefer.crew == crew_id else 0
        return self.gain_cents + bonus


@dataclass(frozen=True)
class Problem:
    """One day (or week) to plan. Tables are indexed by position in `places`; row = from."""

    places: tuple[str, ...]
    drive_minutes: Table
    drive_metres: Table
    crews: tuple[Crew, ...]
    jobs: tuple[Job, ...]
    fixed: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    reserve_cents_per_crew_hour: int = 0

    def __post_init__(self) -> None:
        for kind, ids in (("place", self.places), ("crew", self.crew_ids), ("job", self.job_ids)):
            _refuse(len(set(ids)) != len(ids), f"two entries share the same {kind} id")
        size = len(self.places)
        for table in (self.drive_minutes, self.drive_metres):
            square = len(table) == size and all(len(row) == size for row in table)
            _refuse(not square, "the drive tables must have one row and column for each place")

    @property
    def crew_ids(self) -> tuple[str, ...]:
        return tuple(crew.id for crew in self.crews)

    @property
    def job_ids(self) -> tuple[str, ...]:
        return tuple(job.id for job in self.jobs)

    @cached_property
    def crew_by_id(self) -> dict[str, Crew]:
        return {crew.id: crew for crew in self.crews}

    @cached_property
    def job_by_id(self) -> dict[str, Job]:
        return {job.id: job for job in self.jobs}

    @cached_property
    def place_index(self) -> dict[str, int]:
        return {place: index for index, place in enumerate(self.places)}

    @cached_property
    def fixed_crew(self) -> dict[str, str]:
        """Job id -> the crew whose fixed beginning holds it."""
        return {job: crew for crew, jobs in self.fixed.items() for job in jobs}

    def drive(self, start: str, end: str) -> tuple[int, int] | None:
        """(minutes, metres) from one place to another, or None where it is never driven."""
        row, column = self.place_index[start], self.place_index[end]
        minutes, metres = self.drive_minutes[row][column], self.drive_metres[row][column]
        return None if minutes is None or metres is None else (minutes, metres)

    def replace(self, **changes: object) -> "Problem":
        """The same problem with some fields changed."""
        return replace(self, **changes)  # type: ignore[arg-type]


def may_do(problem: Problem, crew: Crew, job: Job) -> bool:
    """Whether this crew may be given the job at all: skills, named crews, fixed beginnings, size."""
    owner = problem.fixed_crew.get(job.id)
    if owner is not None and owner != crew.id:
        return False
    return has_skill(crew, job)


def has_skill(crew: Crew, job: Job) -> bool:
    """Whether the crew has the skills, is among the job's crews, and can carry what it uses."""
    if job.crews is not None and crew.id not in job.crews:
        return False
    if not set(job.needs) <= set(crew.skills):
        return False
    return all(amount <= crew.capacity.get(kind, amount) for kind, amount in job.uses.items())
