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
    left: dict[int | None, set[str]] = {}
    rinsed: set[int] = set()  # walls rinsed since something was last poured on the whole house
    for line in record:
        if line.what != RINSE:
            left.setdefault(line.wall_id, set()).add(line.what)
            if line.wall_id is None:
                rinsed.clear()
        elif line.wall_id is None:
            left.clear()
        else:
            left.pop(line.wall_id, None)
            rinsed.add(line.wall_id)
    if wall_id is None:
        return frozenset().union(*left.values())
    own = left.get(wall_id, set())
    return frozenset(own if wall_id in rinsed else own | left.get(None, set()))


def reacts_with(what: str, lies_there: Iterable[str]) -> frozenset[str]:
    """What of that which lies there must not meet `what`."""
    return frozenset(other for other in lies_there if frozenset({what, other}) in NEVER_TOGETHER)
