"""What a plan gets to know about driving: a table between its places, and what could not be driven."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

Point = tuple[float, float]
"""Latitude and longitude in degrees."""
Cells = tuple[tuple[int | None, ...], ...]


LONGEST_SOURCE = 60  # letters of a table's source, with everything that is added to it
NO_STREET, NO_WAY_TO, NO_WAY_BACK = "no street near", "no way to it", "no way back from it"


@dataclass(frozen=True, slots=True)
class Unreachable:
    """A place that cannot be driven to or from, by its position among the places, and why: one of the words above."""

    position: int
    reason: str


@dataclass(frozen=True, slots=True)
class DriveTable:
    """Minutes and metres by position of the places, row = from, column = to; None where nobody can drive.

    `source` says in words where the figures come from; pages show it beside every time. `unreachable` names the
    places that fall out; `snap_metres` is how far each place lies from the street that it was joined to.
    `server_failed`: a routing server should have answered and did not, so another source answered for all places.
    """

    minutes: Cells
    metres: Cells
    source: str
    unreachable: tuple[Unreachable, ...] = ()
    snap_metres: tuple[int | None, ...] = ()
    server_failed: bool = False


class DriveTimes(Protocol):
    """A source of drive times. One plan asks one source once and never mixes two."""

    def table(self, points: Sequence[Point]) -> DriveTable: ...
