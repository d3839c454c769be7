"""The entries of houses' records as the rule reads them.

Where two entries of one house became one, a wall that both had stayed behind under the old house, and what was poured
on it names it for good. It is read as the wall of the same name at the house that stays, or, where there is none, a
pour as one on the whole house, so that nothing that must not meet is missed.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from jobs.customers.models import Wall
from jobs.work.domain.reactions import RINSE
from jobs.work.domain.reactions import Poured as PouredLine
from jobs.work.models import Poured


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
    """Oldest first; one query, and one more where walls stayed behind."""
    fields = ("pk", "job_id", "job__property", "wall_id", "wall__name", "wall__property", "chemistry", "at")
    rows = Poured.objects.filter(job__property__in=property_ids).order_by("at", "id").values_list(*fields)
    found = [_Row(*row) for row in rows]
    stays = _walls_that_stay(row for row in found if row.is_left_behind)
    return [_entry(row, stays) for row in found]


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
