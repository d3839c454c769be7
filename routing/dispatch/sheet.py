"""A route sheet as plain frozen data, ready to be printed: page, PDF and crew pages show the same."""

from dataclasses import dataclass, replace
from datetime import date

from jobs.walkthroughs.selectors import Gate
from routing.dispatch.cautions import Hazard
from routing.dispatch.instructions import Step
from routing.dispatch.mix_notes import MixNote


@dataclass(frozen=True, slots=True)
class SheetWall:
    wall_id: int
    name: str
    words: str
    is_shown_first: bool  # chalk that the homeowner sees before any water flows
    found: str = ""  # of such chalk: what was read, for when the homeowner has seen it


@dataclass(frozen=True, slots=True)
class ChalkNote:
    """Walls about which the same is to be said."""

    names: str
    words: str
    is_shown_first: bool
    found: str = ""

    def seen(self) -> "ChalkNote":
        """The same once the homeowner has seen it, or was written to."""
        return replace(self, words=self.found, is_shown_first=False) if self.is_shown_first else self


@dataclass(frozen=True, slots=True)
class SheetLine:
    line_id: int
    service: str
    quantity: str
    minutes: int
    note: str
    walls: str
    mixes: tuple[MixNote, ...] = ()
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True, slots=True)
class SheetStop:
    """One stop. Minutes of the day are those that clocks show."""

    stop_id: int
    job_id: int
    number: int
    leg_minutes: int
    leg_metres: int
    arrive: int
    start: int
    finish: int
    on_site_minutes: int
    windows: tuple[str, ...]
    address: str
    geo: str
    customer: str
    phone: str
    phone_words: str
    gate: str
    pets: str
    property_note: str
    note: str
    lines: tuple[SheetLine, ...]
    walls: tuple[SheetWall, ...]
    chalk: tuple[ChalkNote, ...]
    hazards: frozenset[Hazard]
    cautions: tuple[str, ...]  # of this stop alone
    common_cautions: tuple[str, ...]  # that paper says once for the day
    start_gate: Gate  # whether it may be started
    met: tuple[str, ...] = ()  # what met on its walls that must not
    unrinsed: tuple[str, ...] = ()  # what else lies there by the record
    turns: tuple[str, ...] = ()  # the way there from the place before
    break_before: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    """One crew's day on paper."""

    crew: str
    crew_code: str
    workers: int
    truck: str
    company: str
    yard: str
    yard_address: str
    work_date: date
    version: str
    is_sent: bool
    drive_source: str
    leave: int
    back: int
    break_at: int | None
    break_minutes: int
    home_leg_minutes: int
    home_leg_metres: int
    drive_minutes: int
    drive_metres: int
    on_site_minutes: int
    paid_minutes: int
    stops: tuple[SheetStop, ...]
    load_out: tuple[str, ...]
    mix_totals: tuple[str, ...]
    limits: tuple[str, ...]  # for the surfaces of the day, each with its footing
    first_words: str
    weather: tuple[str, ...]
    cautions: tuple[str, ...]
    mix_cautions: tuple[str, ...]
    home_turns: tuple[str, ...] = ()
