"""The entries of houses' records as the rule reads them.

Where two entries of one house became one, a wall that both had stayed behind under the old house, and what was poured
on it names it for good. It is read as the wall of the same name at the house that stays, or, where there is none, a
pour as one on the whole house, so that nothing that must not meet is missed.

A pour on the whole house is also rinsed where every wall of the house was rinsed by itself since. Whoever rinses wall
by wall says nothing of a wall that nobody entered, so this counts for a house of which all sides are known.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from jobs.customers.models import Wall, WallKind
from jobs.work.domain.reactions import NOWHERE_NAMED, RINSE, rinsed_one_by_one
from jobs.work.domain.reactions import Poured as PouredLine
from jobs.work.models import Poured

LEAST_SIDES = 4  # a house of which fewer are entered may have others that nobody rinsed; our choice, on the safe side


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a house's record; `wall` is the name of its wall, empty for the whole house."""

    property_id: int
    job_id: int
    line: PouredLine
    wall: str


@dataclass(frozen=True, slots=True)
class _Row:
    pk: int
    job_id: int
    property_id: int
    wall_id: int | None
    wall: str
    wall_of: int | None
    chemistry: str
    at: datetime

    @property
    def is_left_behind(self) -> bool:
        return self.wall_of is not None and self.wall_of != self.property_id


def poured_entries(*, property_ids: Collection[int]) -> list[Entry]:
    """Oldest first, then what was rinsed wall by wall; one query, one more where walls stayed behind, and one more
    where something was poured on a whole house and enough of its walls were rinsed by themselves."""
    fields = ("pk", "job_id", "job__property", "wall_id", "wall__name", "wall__property", "chemistry", "at")
    rows = Poured.objects.filter(job__property__in=property_ids).order_by("at", "id").values_list(*fields)
    found = [_Row(*row) for row in rows]
    stays = _walls_that_stay(row for row in found if row.is_left_behind)
    entries = [_entry(row, stays) for row in found]
    return [*entries, *_rinsed_one_by_one(entries)]


def _rinsed_one_by_one(entries: Iterable[Entry]) -> list[Entry]:
    """A rinse of the walls that are nowhere named, at each time at which the last wall of a house was rinsed."""
    houses: dict[int, list[Entry]] = {}
    for entry in entries:
        houses.setdefault(entry.property_id, []).append(entry)
    asked = {pk: found for pk, found in houses.items() if _may_be_rinsed_by_walls(found)}
    walls = _walls_of(asked)
    return [
        Entry(pk, found[-1].job_id, PouredLine(RINSE, NOWHERE_NAMED, at), "")
        for pk, found in asked.items()
        for at in rinsed_one_by_one([entry.line for entry in found], walls.get(pk, ()))
    ]


def _may_be_rinsed_by_walls(entries: Iterable[Entry]) -> bool:
    lines = [entry.line for entry in entries]
    rinsed = {line.wall_id for line in lines if line.what == RINSE and line.wall_id is not None}
    return len(rinsed) >= LEAST_SIDES and any(line.wall_id is None and line.what != RINSE for line in lines)


def _walls_of(property_ids: Collection[int]) -> dict[int, list[int]]:
    """All walls of each house of which enough sides are entered."""
    kinds: dict[int, dict[int, str]] = {}
    rows = Wall.objects.filter(property__in=property_ids).order_by() if property_ids else Wall.objects.none()
    for property_id, pk, kind in rows.values_list("property", "pk", "kind"):
        kinds.setdefault(property_id, {})[pk] = kind
    return {pk: list(found) for pk, found in kinds.items() if list(found.values()).count(WallKind.FACE) >= LEAST_SIDES}


def _walls_that_stay(rows: Iterable[_Row]) -> dict[tuple[int, str], Wall]:
    places = {row.property_id for row in rows}
    walls = Wall.objects.filter(property__in=places) if places else ()
    return {(wall.property_id, _key(wall.name)): wall for wall in walls}


def _entry(row: _Row, stays: dict[tuple[int, str], Wall]) -> Entry:
    wall_id, name = row.wall_id, row.wall or ""
    if row.is_left_behind:
        twin = stays.get((row.property_id, _key(name)))
        if twin is not None:
            wall_id, name = twin.pk, twin.name
        elif row.chemistry:  # a rinse goes on saying nothing of any other wall
            wall_id, name = None, ""
    return Entry(row.property_id, row.job_id, PouredLine(row.chemistry or RINSE, wall_id, row.at, row.pk), name)


def _key(name: str) -> str:
    return name.strip().casefold()
