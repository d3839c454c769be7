"""Drive minutes and metres: estimated through the air, or found on a road graph. No Django, no clock, no settings."""

from routing.roads.domain.estimate import ESTIMATED, GreatCircle, drive_metres, drive_minutes, road_metres
from routing.roads.domain.table import (
    LONGEST_SOURCE,
    NO_STREET,
    NO_WAY_BACK,
    NO_WAY_TO,
    Cells,
    DriveTable,
    DriveTimes,
    Point,
    Unreachable,
)
from routing.solver.warm import choose_cache_folder

choose_cache_folder()  # compiled code goes there; the compiler must not be imported before

__all__ = [
    "ESTIMATED",
    "LONGEST_SOURCE",
    "NO_STREET",
    "NO_WAY_BACK",
    "NO_WAY_TO",
    "Cells",
    "DriveTable",
    "DriveTimes",
    "GreatCircle",
    "Point",
    "Unreachable",
    "drive_metres",
    "drive_minutes",
    "road_metres",
]
