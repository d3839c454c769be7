"""What a driver and a map get to know of a way. Light to import: no compiler comes along."""

from dataclasses import dataclass
from enum import StrEnum

from routing.roads.domain.table import Point

# Angles in degrees from which a bend is a turn, and a turn is sharp or back; our choice, no source.
SLIGHT, PLAIN, SHARP, BACK_ANGLE = 20.0, 45.0, 120.0, 170.0


class Turn(StrEnum):
    START = "start"
    STRAIGHT = "straight"
    SLIGHT_LEFT = "slight_left"
    LEFT = "left"
    SHARP_LEFT = "sharp_left"
    SLIGHT_RIGHT = "slight_right"
    RIGHT = "right"
    SHARP_RIGHT = "sharp_right"
    BACK = "back"
    ROUNDABOUT = "roundabout"


@dataclass(frozen=True, slots=True)
class Step:
    """Turn as said, then follow the street (no name: "") so far. `exit` counts from 1, at roundabouts only; `heading`
    is the compass direction of a start in degrees, clockwise from north."""

    turn: Turn
    street: str
    metres: int
    exit: int = 0
    heading: int = 0


def turn_of(angle: float) -> Turn:
    """The words for a bend of -180 to 180 degrees, to the right where it is positive."""
    size = abs(angle)
    if size < SLIGHT:
        return Turn.STRAIGHT
    if size >= BACK_ANGLE:
        return Turn.BACK
    kind = "" if PLAIN <= size < SHARP else "slight_" if size < PLAIN else "sharp_"
    return Turn(f"{kind}{'right' if angle > 0 else 'left'}")


@dataclass(frozen=True, slots=True)
class Way:
    """From one place to the next. Where no roads are in use, or none leads there, a straight line without steps."""

    line: tuple[Point, ...]
    steps: tuple[Step, ...] = ()
    is_road: bool = False
