"""From costs on the streets to the table that a plan reads."""

from collections.abc import Sequence

import numpy as np

from routing.roads.domain.raw import Ints
from routing.roads.domain.snapping import Snap
from routing.roads.domain.table import NO_STREET, NO_WAY_BACK, NO_WAY_TO, Cells, DriveTable, Point, Unreachable

MS_PER_MINUTE, DM_PER_METRE = 60_000, 10


def table_of(points: Sequence[Point], snaps: Sequence[Snap | None], ms: Ints, dm: Ints, source: str) -> DriveTable:
    """The drive table of places whose costs [from, to] are given for those that have a snap, -1 for no way.

    Minutes and metres are rounded up, so a detour is never shorter than the direct drive; two different places are
    at least one minute and one metre apart.
    """
    minutes, metres = _rounded(points, snaps, ms, MS_PER_MINUTE), _rounded(points, snaps, dm, DM_PER_METRE)
    away = tuple(snap.metres if snap else None for snap in snaps)
    return DriveTable(minutes, metres, source, _unreachable(snaps, minutes), away)


def _rounded(points: Sequence[Point], snaps: Sequence[Snap | None], costs: Ints, unit: int) -> Cells:
    """In whole units; 0 between the same coordinates, None where there is no way."""
    cells = np.full((len(points), len(points)), -1, np.int64)
    joined = [place for place, snap in enumerate(snaps) if snap is not None]
    cells[np.ix_(joined, joined)] = np.where(costs < 0, -1, np.maximum(1, -(-costs // unit)))
    number: dict[Point, int] = {}
    same = np.array([number.setdefault(point, len(number)) for point in points], np.int64)
    cells[same[:, None] == same] = 0
    return tuple(tuple(None if cell < 0 else cell for cell in row) for row in cells.tolist())


def _unreachable(snaps: Sequence[Snap | None], minutes: Cells) -> tuple[Unreachable, ...]:
    """Places that a crew from the first place cannot serve; the first itself where it stands off every street."""
    found = []
    for position, snap in enumerate(snaps):
        if snap is None:
            found.append(Unreachable(position, NO_STREET))
        elif snaps[0] is not None and minutes[0][position] is None:
            found.append(Unreachable(position, NO_WAY_TO))
        elif snaps[0] is not None and minutes[position][0] is None:
            found.append(Unreachable(position, NO_WAY_BACK))
    return tuple(found)
