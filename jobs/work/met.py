"""What the record of pours says of houses, in words: what met that must not, and what lies there unrinsed."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from jobs.mixing.choices import ChemistryChoice
from jobs.work.domain.reactions import (
    NEVER_TOGETHER,
    STOPS_FOR,
    Meeting,
    reacts_with,
    wall_record,
    walls_named,
)
from jobs.work.domain.reactions import Poured as Line
from jobs.work.models import Poured
from jobs.work.pour_record import Entry, poured_entries
from shared.web.words import clock_words, day_words

GIVES_GAS = frozenset().union(*NEVER_TOGETHER)


@dataclass(frozen=True, slots=True)
class MetNote:
    """Two products that met. `is_stop`: nothing more is poured there before a rinse is recorded.

    `wall_ids` are the walls that are named, None among them stands for every other one; `row_ids` the two entries.
    """

    words: str
    is_stop: bool
    is_rinsed: bool
    at: datetime
    wall_ids: frozenset[int | None]
    row_ids: frozenset[int]
    job_ids: frozenset[int]

    def concerns(self, *, job_id: int) -> bool:
        """Whether a job's stop has to say it: nobody rinsed since, or it happened there."""
        return not self.is_rinsed or job_id in self.job_ids


@dataclass(frozen=True, slots=True)
class HouseNotes:
    """`unrinsed` says what else lies there and must not meet something; `named` are walls with entries of their own."""

    met: tuple[MetNote, ...] = ()
    unrinsed: tuple[str, ...] = ()
    named: frozenset[int] = frozenset()

    def for_job(self, job_id: int) -> tuple[MetNote, ...]:
        return tuple(note for note in self.met if note.concerns(job_id=job_id))

    def for_wall(self, wall_id: int) -> tuple[MetNote, ...]:
        key = wall_id if wall_id in self.named else None
        return tuple(note for note in self.met if key in note.wall_ids)


@dataclass(frozen=True)
class _House:
    lines: tuple[Line, ...]
    jobs: Mapping[int, int]  # by row
    walls: Mapping[int, str]


def house_notes(*, property_ids: Collection[int], now: datetime, zone: str) -> dict[int, HouseNotes]:
    """Of every house, newest meeting first; one query. A house with no record is not in the answer."""
    return {pk: _notes(house, now, zone) for pk, house in _houses(property_ids).items()}


def notes_of_house(*, property_id: int, now: datetime, zone: str) -> HouseNotes:
    return house_notes(property_ids=[property_id], now=now, zone=zone).get(property_id, HouseNotes())


def pour_warnings(*, row: Poured, now: datetime, zone: str) -> tuple[str, ...]:
    """What whoever wrote an entry has to know: what met by it, what stops the wall now, and what was never rinsed on
    record so long ago that it did not stop this pour."""
    found = _houses([row.job.property_id])[row.job.property_id]
    notes = _notes(found, now, zone)
    own = next(line.wall_id for line in found.lines if line.row_id == row.pk)
    walls = {own} if own is not None else {None, *found.walls}
    touching = [note for note in notes.met if row.pk in note.row_ids or (note.is_stop and walls & note.wall_ids)]
    return (*(note.words for note in touching), *_old_words(row, found, walls, zone))


def _old_words(row: Poured, house: _House, walls: Iterable[int | None], zone: str) -> list[str]:
    if not row.chemistry:
        return []
    before = [line for line in house.lines if line.at <= row.at and line.row_id != row.pk]
    lying = {line for wall in walls for line in wall_record(before, wall).lying}
    old = [line for line in lying if reacts_with(row.chemistry, [line.what]) and row.at > line.at + STOPS_FOR]
    words = _("%(other)s of %(at)s was never rinsed on record. That is long ago, so it does not stop the work: "
              "rinse the wall first all the same, and write it down.")  # fmt: skip
    return [words % {"other": _label(line.what).capitalize(), "at": _when(line.at, zone)} for line in _sorted(old)]


def _houses(property_ids: Collection[int]) -> dict[int, _House]:
    entries: dict[int, list[Entry]] = {}
    for entry in poured_entries(property_ids=property_ids):
        entries.setdefault(entry.property_id, []).append(entry)
    return {pk: _house(found) for pk, found in entries.items()}


def _house(entries: Collection[Entry]) -> _House:
    return _House(
        lines=tuple(entry.line for entry in entries),
        jobs={entry.line.row_id: entry.job_id for entry in entries},
        walls={entry.line.wall_id: entry.wall for entry in entries if entry.line.wall_id},
    )


def _notes(house: _House, now: datetime, zone: str) -> HouseNotes:
    records = {wall: wall_record(house.lines, wall) for wall in walls_named(house.lines)}
    pairs: dict[tuple[Line, Line], list[Meeting]] = {}
    lying: dict[Line, list[int | None]] = {}
    for wall, record in records.items():
        for meeting in record.meetings:
            pairs.setdefault((meeting.first, meeting.then), []).append(meeting)
        for line in record.lying:
            if line.what in GIVES_GAS:
                lying.setdefault(line, []).append(wall)
    met = sorted((_note(found, house, now, zone) for found in pairs.values()), key=lambda note: note.at, reverse=True)
    stopped = frozenset().union(*(note.row_ids for note in met if note.is_stop))  # the stop itself says of these
    plain = (line for line in _sorted(lying) if line.row_id not in stopped)
    unrinsed = tuple(_lying_words(line, lying[line], house, zone) for line in plain)
    return HouseNotes(tuple(met), unrinsed, frozenset(house.walls))


def _note(meetings: list[Meeting], house: _House, now: datetime, zone: str) -> MetNote:
    """Of one pair on all the walls where it met; rinsed where every one of them was."""
    first, then = meetings[0].first, meetings[0].then
    open_ones = [meeting for meeting in meetings if meeting.rinsed_at is None]
    said = open_ones or meetings
    walls = frozenset(meeting.wall_id for meeting in said)
    is_stop = any(meeting.stops_at(max(now, then.at)) for meeting in meetings)
    rinsed_at = None if open_ones else max(meeting.rinsed_at for meeting in meetings if meeting.rinsed_at)
    names = {
        "first": _label(first.what),
        "first_at": _when(first.at, zone),
        "then": _label(then.what),
        "then_at": _when(then.at, zone),
        "where": _where(walls, house),
        "rinsed_at": _when(rinsed_at, zone) if rinsed_at else "",
    }
    return MetNote(
        words=_sentence(_met_words(is_stop=is_stop, is_rinsed=rinsed_at is not None) % names),
        is_stop=is_stop,
        is_rinsed=rinsed_at is not None,
        at=then.at,
        wall_ids=frozenset(meeting.wall_id for meeting in meetings),
        row_ids=frozenset({first.row_id, then.row_id}),
        job_ids=frozenset({house.jobs[first.row_id], house.jobs[then.row_id]}),
    )


def _met_words(*, is_stop: bool, is_rinsed: bool) -> str:
    if is_stop:
        return _(
            "STOP, %(where)s: by the record %(first)s (%(first_at)s) and %(then)s (%(then_at)s) met with no rinse "
            "between. Together they give poisonous gas. Stay away until the air is clear, follow the data sheets, then "
            "rinse well and write the rinse down. Nothing else is poured there before."
        )
    if is_rinsed:
        return _(
            "%(where)s: by the record %(first)s (%(first_at)s) and %(then)s (%(then_at)s) met with no rinse between; "
            "rinsed %(rinsed_at)s."
        )
    return _(
        "%(where)s: by the record %(first)s (%(first_at)s) and %(then)s (%(then_at)s) met with no rinse between, and "
        "none was recorded since. Rinse before anything is poured there, and write it down."
    )


def _lying_words(line: Line, walls: list[int | None], house: _House, zone: str) -> str:
    words = _("%(where)s: %(what)s of %(at)s is not rinsed on record. Rinse before what must not meet it.")
    where = _where(frozenset(walls), house)
    return _sentence(words % {"where": where, "what": _label(line.what), "at": _when(line.at, zone)})


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _sorted(lines: Iterable[Line]) -> list[Line]:
    return sorted(lines, key=lambda line: (line.at, line.row_id))


def _where(walls: frozenset[int | None], house: _House) -> str:
    """The walls by name; None is every wall that has no entry of its own."""
    named = ", ".join(_(name) for pk, name in house.walls.items() if pk in walls)
    others = ", ".join(_(name) for pk, name in house.walls.items() if pk not in walls)
    if None not in walls:
        return named
    return _("whole house but %(walls)s") % {"walls": others} if others else _("whole house")


def _label(what: str) -> str:
    return str(ChemistryChoice(what).label)


def _when(at: datetime, zone: str) -> str:
    local = at.astimezone(ZoneInfo(zone))
    return f"{day_words(local.date())}, {clock_words(local.hour * 60 + local.minute)}"
