"""Walls, readings and removals turned into what the growth model takes. A fixed number of queries, read as a stream."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
from django.db.models import Exists, OuterRef, QuerySet

from jobs.chalking.domain.fitting import Fit
from jobs.chalking.domain.growth import MID_TONE, NAMES, RAIN_DAYS, Bools, Floats, Ints, Readings, Stories, Walls
from jobs.chalking.domain.life import STORIES, Life, beginnings, first_life, life_before
from jobs.chalking.domain.like import Ages
from jobs.chalking.domain.seasons import dose_between
from jobs.chalking.domain.sun import relative_doses
from jobs.chalking.models import ChalkModel
from jobs.chalking.selectors import usual_latitude
from jobs.customers.models import Material, Wall, WallKind
from jobs.walkthroughs.models import FIELD_SCALE, ChalkReading
from jobs.work.models import JobLine, VisitLine

EFFECTS = (*(f"material {code}" for code in Material.values), *(f"kind {code}" for code in WallKind.values))
SOMEBODY = 0  # the reader of readings whose reader is not known, or was not known when the model was fitted
LATITUDE_GRAIN = 0.1  # degrees; the sun is computed once for all walls between two such lines
VERSION = "2"  # of all that turns rows into numbers; another one refits
AT_ONCE = 5_000  # walls that nobody read
NO_READINGS = Readings(
    wall=np.zeros(0, dtype=np.int64),
    step=np.zeros(0, dtype=np.int64),
    dose=np.zeros(0),
    again=np.zeros(0, dtype=bool),
    reader=np.zeros(0, dtype=np.int64),
    after_rain=np.zeros(0, dtype=bool),
    reader_count=1,
)

Row = tuple[Any, ...]
Place = tuple[str, int]


@dataclass(frozen=True)
class History:
    """What the readings and removals of a wall say of its present life.

    `begun_on` are the days on which it may have begun, one for each of the wall's stories; empty where unknown.
    `last_read_on` is of all its readings, None where there is none.
    """

    life: Life = Life(None, "unknown")
    begun_on: tuple[date, ...] = ()
    last_read_on: date | None = None

    def begun(self, story: int) -> date | None:
        """Stories differ in the first life only; a removal began the present one in all of them."""
        return self.begun_on[min(story, len(self.begun_on) - 1)] if self.begun_on else None


@dataclass(frozen=True)
class Book:
    """W walls ordered by id, and their R usable readings: all walls that were ever read, or a part of those never read.

    `histories` are of the walls; `reading_counts` are of usable readings, those that have a dose. `ages` are of walls
    that were never read; how old the others may be stands in the stories of their readings.
    """

    wall_ids: Ints
    walls: Walls
    readings: Readings
    by_month: Floats
    histories: tuple[History, ...]
    reading_counts: Ints
    reader_ids: tuple[int, ...]
    ages: Ages | None = None

    @property
    def again_now(self) -> Bools:
        return np.array([history.life.is_again for history in self.histories], dtype=bool)

    @property
    def parameter_names(self) -> tuple[str, ...]:
        """Names of the effects and readers, in the order of the parameters that follow the fixed ones."""
        return (*EFFECTS, "reader unknown", *(f"reader {pk}" for pk in self.reader_ids))

    def digest(self) -> str:
        """SHA-256 of everything that a fit depends on."""
        found = hashlib.sha256(VERSION.encode())
        parts: tuple[Any, ...] = (self.wall_ids, self.walls.effects, self.walls.darkness, self.by_month)
        read = self.readings
        if read.stories is not None:
            parts += (read.stories.number, read.stories.log_chance, read.stories.head)
        for part in (*parts, read.wall, read.step, read.dose, read.again, read.reader, read.after_rain):
            found.update(np.ascontiguousarray(part).tobytes())
        found.update(repr(self.reader_ids).encode())
        return found.hexdigest()


def stored_fit(model: ChalkModel, reader_ids: Sequence[int]) -> tuple[tuple[str, ...], Fit]:
    """Names of the parameters and the fit, in the order of the stored covariance."""
    names = (*NAMES, *EFFECTS, "reader unknown", *(f"reader {pk}" for pk in reader_ids))
    return names, Fit(np.array([model.parameters[name] for name in names]), np.array(model.covariance), 0, 0.0)


def reader_ids_of(model: ChalkModel) -> list[int]:
    """By their names: PostgreSQL keeps the members of a JSON object in an order of its own."""
    readers = (name.removeprefix("reader ") for name in model.parameters if name.startswith("reader "))
    return sorted(int(reader) for reader in readers if reader.isdecimal())


def book_of(*, property_ids: Sequence[int] | None = None, reader_ids: Sequence[int] | None = None) -> Book:
    """Read all walls that were ever read, or those of some properties.

    `reader_ids` are the readers to tell apart, those of a stored fit; everybody who read unless given.
    """
    was_read = _of(Wall.objects.filter(_was_read()), "property", property_ids)
    rows = list(_walls(was_read).iterator())
    by_month = _doses(rows, usual_latitude())
    removals = _removals(property_ids)
    table, histories = _readings(rows, removals, property_ids)
    readers = sorted({reader for reader in table["reader"].tolist() if reader}) if reader_ids is None else reader_ids
    dose = dose_between(by_month[table["wall"]], table["since"], table["read_on"])
    usable = ~np.isnat(table["since"]) & (dose > 0)
    table, dose = table[usable], dose[usable]
    place = {reader: k for k, reader in enumerate(readers, start=1)}
    readings = Readings(
        wall=table["wall"].astype(np.int64),
        step=table["step"].astype(np.int64),
        dose=dose,
        again=table["again"],
        reader=np.array([place.get(reader, SOMEBODY) for reader in table["reader"].tolist()], dtype=np.int64),
        after_rain=table["after_rain"],
        reader_count=len(readers) + 1,
        stories=_stories(table, by_month, histories),
    )
    return Book(
        wall_ids=np.array([row[0] for row in rows], dtype=np.int64),
        walls=_as_walls(rows),
        readings=readings,
        by_month=by_month,
        histories=tuple(histories),
        reading_counts=np.bincount(table["wall"][table["story"] == 0], minlength=len(rows)),
        reader_ids=tuple(readers),
    )


def unread_books(*, today: date, property_ids: Sequence[int] | None = None) -> Iterator[Book]:
    """Walls that nobody ever read, of all properties or of some, in parts of AT_ONCE, so that memory stays flat.

    Only walls like which some were read, and vinyl ones: what nobody looks for on brick is not forecast for it.
    """
    latitude, removals = usual_latitude(), _removals(property_ids)
    unread = Wall.objects.filter(~_was_read(), material__in=materials_known())
    unread = _of(unread, "property", property_ids)
    last = 0
    while rows := list(_walls(unread.filter(pk__gt=last))[:AT_ONCE]):
        last = rows[-1][0]
        yield _unread_book(rows, _doses(rows, latitude), removals, today)


def materials_known() -> set[str]:
    """Vinyl, and the materials of which a wall was ever read."""
    read = ChalkReading.objects.filter(scale=FIELD_SCALE).order_by().values_list("wall__material", flat=True)
    return {Material.VINYL, *read.distinct()}


def _unread_book(rows: Sequence[Row], by_month: Floats, removals: Mapping[Place, Sequence[date]], today: date) -> Book:
    histories: list[History] = []
    begun, chance = np.full((len(rows), STORIES), "NaT", dtype="M8[D]"), np.zeros((len(rows), STORIES))
    chance[:, 0] = 1.0
    for at, row in enumerate(rows):
        taken_off = _taken_off(removals, row)
        life = life_before(date.max, first_life(row[7], row[8]), taken_off)
        stories = beginnings(life, today)
        histories.append(History(life, tuple(day for day, _chance in stories)))
        for k, (day, share) in enumerate(stories):
            begun[at, k], chance[at, k] = day, share
    first = np.broadcast_to(begun[:, :1], begun.shape)
    heads = [dose_between(by_month, *ends) for ends in zip(first.T, begun.T, strict=True)]
    return Book(
        wall_ids=np.array([row[0] for row in rows], dtype=np.int64),
        walls=_as_walls(rows),
        readings=NO_READINGS,
        by_month=by_month,
        histories=tuple(histories),
        reading_counts=np.zeros(len(rows), dtype=np.int64),
        reader_ids=(),
        ages=Ages(np.nan_to_num(np.stack(heads, axis=1)), chance),
    )


def _stories(table: Any, by_month: Floats, histories: Sequence[History]) -> Stories | None:
    """Of usable readings; none where every wall has one only. What a story leaves out counts in a first life alone."""
    if not table["story"].any():
        return None
    whose = list(zip(table["wall"].tolist(), table["story"].tolist(), strict=True))
    first, own = (
        np.array([histories[wall].begun(story) or "NaT" for wall, story in told], dtype="datetime64[D]")
        for told in ([(wall, 0) for wall, _story in whose], whose)
    )
    head = dose_between(by_month[table["wall"]], first, own)
    return Stories(table["story"].astype(np.int64), np.log(table["chance"]), np.nan_to_num(head))


_READING = np.dtype(
    [
        ("wall", "i4"), ("step", "i1"), ("since", "M8[D]"), ("read_on", "M8[D]"), ("again", "?"), ("reader", "i8"),
        ("after_rain", "?"), ("story", "i1"), ("chance", "f8"),
    ]
)  # fmt: skip


def _was_read() -> Exists:
    return Exists(ChalkReading.objects.filter(wall=OuterRef("pk"), scale=FIELD_SCALE))


def _walls(walls: QuerySet[Wall]) -> QuerySet[Wall, Row]:
    """What a forecast takes from them, in the order of their ids; those of joined properties are left out."""
    fields = (
        "pk", "property_id", "kind", "material", "lightness_percent", "facing_degrees", "shade", "year_fitted",
        "property__year_built", "property__latitude",
    )  # fmt: skip
    return walls.filter(property__joined_into__isnull=True).order_by("pk").values_list(*fields)


def _of(rows: QuerySet[Any], field: str, property_ids: Sequence[int] | None) -> QuerySet[Any]:
    return rows if property_ids is None else rows.filter(**{f"{field}__in": property_ids})


def _as_walls(rows: Sequence[Row]) -> Walls:
    number = {name: k for k, name in enumerate(EFFECTS)}
    effects = [(number[f"material {row[3]}"], number[f"kind {row[2]}"]) for row in rows]
    darkness = [MID_TONE if row[4] is None else 1 - row[4] / 100 for row in rows]
    return Walls(np.array(effects, dtype=np.int64).reshape(-1, 2), np.array(darkness, dtype=float), len(EFFECTS))


def _doses(rows: Sequence[Row], usual: float) -> Floats:
    """Dose by month of each wall: the sun once for each latitude, on a grain of a tenth of a degree; `usual` is that of
    properties without a place."""
    latitudes = np.array([usual if row[9] is None else row[9] for row in rows], dtype=float)
    lines = np.round(latitudes / LATITUDE_GRAIN).astype(int)
    facings = np.array([np.nan if row[5] is None else row[5] for row in rows], dtype=float)
    shades = np.array([row[6] for row in rows])
    found = np.zeros((len(rows), 12))
    for line in np.unique(lines):
        there = lines == line
        found[there] = relative_doses(line * LATITUDE_GRAIN, facings[there], list(shades[there]))
    return found


def _removals(property_ids: Sequence[int] | None) -> dict[Place, list[date]]:
    """Days on which chalk was taken off: of the walls that the job line names, of the whole property where it names
    none; by ("wall", id) or ("property", id), in order of time."""
    done = VisitLine.objects.filter(service__removes_chalk=True)
    lines = _of(done, "visit__job__property", property_ids).order_by("visit__work_date", "pk")
    rows = list(lines.values_list("visit__work_date", "job_line_id", "visit__job__property_id"))
    named: dict[int, list[int]] = {}
    through = JobLine.walls.through.objects.filter(jobline__service__removes_chalk=True)
    for line, wall in _of(through, "jobline__job__property", property_ids).values_list("jobline_id", "wall_id"):
        named.setdefault(line, []).append(wall)
    found: dict[Place, list[date]] = {}
    for day, line, place in rows:
        for wall in named.get(line, ()):
            found.setdefault(("wall", wall), []).append(day)
        if line not in named:
            found.setdefault(("property", place), []).append(day)
    return found


def _taken_off(removals: Mapping[Place, Sequence[date]], row: Row) -> list[date]:
    """Days on which chalk was taken off a wall, in order of time."""
    return sorted((*removals.get(("wall", row[0]), ()), *removals.get(("property", row[1]), ())))


def _readings(
    rows: Sequence[Row], removals: dict[Place, list[date]], property_ids: Sequence[int] | None
) -> tuple[Any, list[History]]:
    """Readings by wall and story with the life each was read in; then the history of each wall."""
    place = {row[0]: k for k, row in enumerate(rows)}
    found: list[tuple[Any, ...]] = []
    histories = [History()] * len(rows)
    for wall_id, group in groupby(_reading_rows(property_ids), itemgetter(0)):
        at = place.get(wall_id)
        if at is None:
            continue  # first read after the walls were
        taken_off = _taken_off(removals, rows[at])
        read = _of_each_day(group, taken_off)
        stories, histories[at] = _lives(first_life(rows[at][7], rows[at][8]), taken_off, list(read))
        for story, (begun, chance) in enumerate(stories):
            for day, (reading, rain, reader) in read.items():
                life = life_before(day, begun, taken_off)
                is_wet = rain is not None and rain <= RAIN_DAYS
                found.append((
                    at, int(reading * 2), life.since or "NaT", day, life.is_again, reader or 0, is_wet, story, chance,
                ))  # fmt: skip
    return np.array(found, dtype=_READING), histories


def _lives(first: Life, taken_off: Sequence[date], read_on: Sequence[date]) -> tuple[list[tuple[Life, float]], History]:
    """The first lives that a wall may have had, with their chances; and what its present one comes to."""
    present = life_before(date.max, first, taken_off)
    known = beginnings(first, read_on[0]) if life_before(read_on[0], first, taken_off) == first else ()
    stories = [(Life(day, first.what), chance) for day, chance in known] or [(first, 1.0)]
    begun = [life.since for life, _chance in stories] if present == first else [present.since]
    return stories, History(present, tuple(day for day in begun if day is not None), read_on[-1])


def _of_each_day(group: Iterable[Row], taken_off: Sequence[date]) -> dict[date, list[Any]]:
    """What counts of a wall's readings on a day: the newest, since a correction is a later row of the same day.

    On the day of a removal a lower one that follows is a look at the work when it was done. It says that the chalk is
    off, and nothing about how it grew.
    """
    found: dict[date, list[Any]] = {}
    for _wall, day, *rest in group:
        if day not in found or day not in taken_off or rest[0] >= found[day][0]:
            found[day] = rest
    return found


def _reading_rows(property_ids: Sequence[int] | None) -> Iterator[Row]:
    """By wall and day, the newest of a day last; only readings on our own scale: scales are never mixed."""
    readings = _of(ChalkReading.objects.filter(scale=FIELD_SCALE), "wall__property", property_ids)
    fields = ("wall_id", "read_on", "reading", "days_since_rain", "read_by_id")
    return readings.order_by("wall_id", "read_on", "pk").values_list(*fields).iterator()
