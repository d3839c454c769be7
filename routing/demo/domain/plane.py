"""The flat drawing board of the invented town: a lattice of 20 m, bent a little, laid onto the globe.

Streets are drawn on the lattice, so streets that cross share a point exactly. One smooth bend moves all points
alike: it keeps who meets whom and takes the ruler out of the picture. The centre of town stays straight.
"""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

Point = tuple[int, int]
"""Metres east and north of the town's middle, before bending."""

STEP_METRES = 20
METRES_PER_DEGREE = 111_195.0  # of a great circle on a sphere of 6,371.0 km
CENTRE_LAT = 40.4630  # open fields: nothing real is meant
CENTRE_LON = -98.2270
STRAIGHT_WITHIN_METRES = 1_900.0
BENT_BEYOND_METRES = 4_200.0


@dataclass(frozen=True, slots=True)
class Bend:
    """A smooth shift of the plane: two waves in each direction, faded out towards the middle of town."""

    phases: tuple[float, float, float, float]

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Where a drawn point lies after bending, in metres."""
        fade = _fade(math.hypot(x, y))
        a, b, c, d = self.phases
        east = 130.0 * math.sin(y / 900.0 + a) + 55.0 * math.sin((x + y) / 310.0 + b)
        north = 130.0 * math.sin(x / 900.0 + c) + 55.0 * math.sin((x - y) / 330.0 + d)
        return x + fade * east, y + fade * north


def bend_make(rng: random.Random) -> Bend:
    """A bend of its own for each seed."""
    a, b, c, d = (rng.uniform(0.0, 2.0 * math.pi) for _ in range(4))
    return Bend((a, b, c, d))


def _fade(radius: float) -> float:
    share = (radius - STRAIGHT_WITHIN_METRES) / (BENT_BEYOND_METRES - STRAIGHT_WITHIN_METRES)
    share = min(1.0, max(0.0, share))
    return share * share * (3.0 - 2.0 * share)


def to_globe(east: float, north: float) -> tuple[float, float]:
    """Latitude and longitude in degrees of a bent point, rounded to about a centimetre."""
    lat = CENTRE_LAT + north / METRES_PER_DEGREE
    lon = CENTRE_LON + east / (METRES_PER_DEGREE * math.cos(math.radians(CENTRE_LAT)))
    return round(lat, 7), round(lon, 7)


def densify(corners: Sequence[Point]) -> list[Point]:
    """The corners with a point every 20 m between them; lines along the lattice hit its points exactly."""
    points = [corners[0]]
    for (x0, y0), (x1, y1) in zip(corners, corners[1:], strict=False):
        if (x0, y0) == (x1, y1):
            continue
        pieces = max(1, max(abs(x1 - x0), abs(y1 - y0)) // STEP_METRES)
        points.extend(
            (round(x0 + (x1 - x0) * k / pieces), round(y0 + (y1 - y0) * k / pieces)) for k in range(1, pieces + 1)
        )
    return points
