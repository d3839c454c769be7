"""What must never meet on a wall. Acid on hypochlorite gives chlorine gas, ammonia on hypochlorite gives chloramines,
whichever came first (California Department of Public Health, occupational health watch, May 2023). Between them water
has to be recorded.

A record is read by the times at which things happened, in whatever order it came up from the phones. Of one and the
same instant nobody can say what came first, so a rinse then takes nothing away of what was poured in it.

What nobody rinsed on record is a reason to stop for `STOPS_FOR`, and a reason for care after that, until a rinse is
recorded. Rain will have washed such a wall (common practice, no source; labels and data sheets come first); the length
is our choice, long on purpose, since to rinse and to write it down is always possible."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum


class Chemistry(StrEnum):
    HYPOCHLORITE = "hypochlorite"
    ACID = "acid"
    AMMONIA = "ammonia"
    ALKALINE = "alkaline"
    SURFACTANT = "surfactant"
    OTHER = "other"


RINSE = "rinse"
NEVER_TOGETHER = frozenset({
    frozenset({Chemistry.HYPOCHLORITE, Chemistry.ACID}),
    frozenset({Chemistry.HYPOCHLORITE, Chemistry.AMMONIA}),
})  # fmt: skip
STOPS_FOR = timedelta(days=60)
NOWHERE_NAMED = 0  # as a line's wall: those walls alone of which the record says nothing of their own


@dataclass(frozen=True, slots=True)
class Poured:
    """One line of a property's record: a chemistry or RINSE, on a wall, or on the whole house where `wall_id` is None
    (NOWHERE_NAMED: see there), at the time at which it happened. `row_id` says which row that is, where it is one."""

    what: str
    wall_id: int | None
    at: datetime
    row_id: int = 0


@dataclass(frozen=True, slots=True)
class Meeting:
    """Two that must not meet were poured on a wall with no rinse between them; None is a wall that is nowhere named.

    `rinsed_at` is when this wall was rinsed after that, None where it never was."""

    wall_id: int | None
    first: Poured
    then: Poured
    rinsed_at: datetime | None = None

    def stops_at(self, moment: datetime) -> bool:
        """Whether nothing may be poured on this wall at a moment."""
        return self.rinsed_at is None and self.then.at <= moment <= self.then.at + STOPS_FOR


@dataclass(frozen=True, slots=True)
class WallRecord:
    """What the record says of one wall: what lies there since its last rinse, each kind as it was poured last, and
    what met."""

    lying: tuple[Poured, ...]
    meetings: tuple[Meeting, ...]


def wall_record(record: Iterable[Poured], wall_id: int | None) -> WallRecord:
    """One wall's record, by when things happened; None is a wall that is nowhere named.

    A rinse of the whole house covers every wall, a rinse of one wall that wall only, also of what was poured on the
    whole house. Each pour meets the last one of every kind that it must not meet and that is still a reason to stop.
    """
    lying: dict[str, Poured] = {}
    meetings: list[Meeting] = []
    open_from = 0
    here = (None, NOWHERE_NAMED if wall_id is None else wall_id)
    for line in sorted((line for line in record if line.wall_id in here), key=_order):
        if line.what == RINSE:
            lying = {}
            meetings[open_from:] = [_rinsed(meeting, line.at) for meeting in meetings[open_from:]]
            open_from = len(meetings)
        else:
            others = [lying[what] for what in sorted(reacts_with(line.what, lying))]
            meetings += [Meeting(wall_id, other, line) for other in others if line.at <= other.at + STOPS_FOR]
            lying[line.what] = line
    return WallRecord(tuple(lying.values()), tuple(meetings))


def _order(line: Poured) -> tuple[datetime, bool, str, int, int]:
    """By time; a rinse before what was poured in the same instant, and the rest in an order of its own."""
    return line.at, line.what != RINSE, line.what, line.wall_id or 0, line.row_id


def _rinsed(meeting: Meeting, at: datetime) -> Meeting:
    return Meeting(meeting.wall_id, meeting.first, meeting.then, at)


def walls_named(record: Iterable[Poured]) -> list[int | None]:
    """The walls of which a record says something of their own, and None for every other one."""
    named = {line.wall_id for line in record if line.wall_id}
    return [None, *sorted(named)]


def rinsed_one_by_one(record: Iterable[Poured], walls: Collection[int]) -> list[datetime]:
    """When the last of all `walls` of a house was rinsed after a pour on the whole house: then nothing of it is left.

    Each wall's own rinse must be later than the pour; until the last one is, the pour lies there.
    """
    found = []
    missing: set[int] = set()
    for line in sorted(record, key=_order):
        if line.wall_id is None:
            missing = set() if line.what == RINSE else set(walls)
        elif line.what == RINSE and line.wall_id in missing:
            missing.remove(line.wall_id)
            found += [] if missing else [line.at]
    return found


def meetings_of(record: Iterable[Poured]) -> frozenset[Meeting]:
    """Everything that met anywhere at a house."""
    lines = tuple(record)
    return frozenset(meeting for wall in walls_named(lines) for meeting in wall_record(lines, wall).meetings)


def unrinsed(record: Iterable[Poured], wall_id: int | None) -> frozenset[str]:
    """Chemistries that were poured on this wall, or on any wall where it is None, with no rinse recorded since."""
    return frozenset(line.what for line in lying_on(record, wall_id))


def lying_on(record: Iterable[Poured], wall_id: int | None) -> frozenset[Poured]:
    """The pours behind `unrinsed`, each kind as it was poured last."""
    lines = tuple(record)
    walls = walls_named(lines) if wall_id is None else [wall_id]
    return frozenset(line for wall in walls for line in wall_record(lines, wall).lying)


def reacts_with(what: str, lies_there: Iterable[str]) -> frozenset[str]:
    """What of that which lies there must not meet `what`."""
    return frozenset(other for other in lies_there if frozenset({what, other}) in NEVER_TOGETHER)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the record says of one pour. `meets` are the chemistries that it meets, before or after it; `met` what has
    met there already and was not rinsed; `cautions` what it would meet, poured so long ago that it is no stop."""

    meets: frozenset[str]
    met: frozenset[str]
    cautions: frozenset[str]

    @property
    def is_stopped(self) -> bool:
        return bool(self.meets or self.met)


def verdict(record: Iterable[Poured], new: Poured) -> Verdict:
    """Look both ways from a pour: at what lies there when it is poured, and at what was poured after it.

    A pour on the whole house meets what it meets on any wall.
    """
    lines = tuple(record)
    walls = walls_named((*lines, new)) if new.wall_id is None else [new.wall_id]
    meets: set[str] = set()
    met: set[str] = set()
    cautions: set[str] = set()
    for wall in walls:
        before = wall_record([line for line in lines if line.at <= new.at], wall)
        both = wall_record((*lines, new), wall)
        mine = [meeting for meeting in both.meetings if new in (meeting.first, meeting.then)]
        meets |= {line.what for meeting in mine for line in (meeting.first, meeting.then)} - {new.what}
        met |= {line.what for m in before.meetings if m.stops_at(new.at) for line in (m.first, m.then)}
        cautions |= reacts_with(new.what, (line.what for line in before.lying))
    return Verdict(frozenset(meets), frozenset(met), frozenset(cautions - meets))
