"""What must never meet on a wall. Acid on hypochlorite gives chlorine gas, ammonia on hypochlorite gives chloramines,
whichever came first (California Department of Public Health, occupational health watch, May 2023). Between them water
has to be recorded."""

from collections.abc import Iterable
from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Poured:
    """One line of a property's record, in the order in which it happened: a chemistry or RINSE, on a wall, or on the
    whole house where `wall_id` is None."""

    what: str
    wall_id: int | None


def unrinsed(record: Iterable[Poured], wall_id: int | None) -> frozenset[str]:
    """Chemistries that were poured on this wall, or on any wall where it is None, with no rinse recorded since.

    A rinse of the whole house covers every wall, a rinse of one wall that wall only, also of what was poured on the
    whole house.
    """
    lines = tuple(record)
    if wall_id is not None:
        return _on_wall(lines, wall_id)
    walls = {line.wall_id for line in lines} | {None}
    return frozenset().union(*(_on_wall(lines, wall) for wall in walls))


def _on_wall(record: Iterable[Poured], wall_id: int | None) -> frozenset[str]:
    """Of one wall; None is a wall that is nowhere named."""
    found: set[str] = set()
    for line in record:
        if line.wall_id in (None, wall_id):
            found = set() if line.what == RINSE else found | {line.what}
    return frozenset(found)


def reacts_with(what: str, lies_there: Iterable[str]) -> frozenset[str]:
    """What of that which lies there must not meet `what`."""
    return frozenset(other for other in lies_there if frozenset({what, other}) in NEVER_TOGETHER)
