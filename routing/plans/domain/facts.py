"""What the rows say about a day, as frozen data. Minutes are real minutes since the yard's local midnight."""

from dataclasses import dataclass

Window = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Place:
    key: str
    latitude: float
    longitude: float


@dataclass(frozen=True, slots=True)
class CrewFacts:
    """A crew on shift. The wage is the whole crew's, per hour, before burden."""

    code: str
    shift: Window
    skills: tuple[str, ...]
    wage_cents_per_hour: int
    burden_percent: int
    workers: int
    pace_percent: int
    cents_per_km: int
    fixed_cents: int
    overtime_after_minutes: int | None
    break_minutes: int
    break_window: Window
    break_is_paid: bool
    mix_litres: int | None


@dataclass(frozen=True, slots=True)
class JobFacts:
    """A job that may or must be done that day. `on_site_minutes` are those of a two-person crew.

    `told_crew` is the crew that the customer was told of, `only_crew` the one it is locked to. `taken_out` says that a
    person took it out of the day: it stays out until a person puts it in. `tank_litres` ride in the truck's tank.
    """

    job_id: int
    place: Place
    windows: tuple[Window, ...]
    on_site_minutes: int
    gain_cents: int
    needs: tuple[str, ...]
    promised: bool
    told_crew: str | None = None
    only_crew: str | None = None
    taken_out: bool = False
    tank_litres: int = 0


@dataclass(frozen=True, slots=True)
class StartedStop:
    """A stop that a crew has reached: it stays where it is, with the times that it really had."""

    crew: str
    job_id: int
    from_minute: int
    until_minute: int | None  # None: still there


@dataclass(frozen=True, slots=True)
class DayFacts:
    """Everything about a yard's day. `now_minute` is set while the day is under way: nothing else begins before it."""

    yard: Place
    crews: tuple[CrewFacts, ...]
    jobs: tuple[JobFacts, ...]
    started: tuple[StartedStop, ...] = ()
    reserve_cents_per_crew_hour: int = 0
    now_minute: int | None = None
