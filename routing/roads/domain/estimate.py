"""Drive minutes and metres between places, estimated where no road is known.

Without roads the best guess is the great-circle distance times a circuity factor. What the literature says:

- about 1.2 in towns (Newell 1980, "Traffic Flow on Transportation Networks"; 1.21 to 1.23 near stations: O'Sullivan
  and Morrall 1996, Transportation Research Record 1538) and 1.20 in the United States (Ballou, Rahardja and Sakai
  2002, Transportation Research A 36; figure from memory);
- 1.417 for trips to a nearby destination, here hospitals (Boscoe, Henry and Zdeb 2012, The Professional Geographer
  64; figure from memory);
- short trips are more circuitous than long ones (Giacomin and Levinson 2015, Environment and Planning B 42).

So the first NEARBY_METRES of a trip are stretched by 1.417 and the rest by 1.2; the factor of the whole trip falls
from the one towards the other. Where the one ends and the other begins is our choice, no source. The speeds are
common practice, no source. Both curves rise ever more slowly (concave), which keeps a detour from being shorter than
the direct drive; rounding up keeps that too.
"""

import math
from collections.abc import Sequence

from routing.roads.domain.table import DriveTable, Point
from shared.geo import great_circle_metres

NEARBY_CIRCUITY = 1.417
FAR_CIRCUITY = 1.2
NEARBY_METRES = 5_000.0
ESTIMATED = "estimated (great circle)"

# (up to so many metres of the trip, at so many metres a minute): 30 km/h in side streets, 50 in town, 80 beyond.
SPEED_BANDS = ((2_000.0, 30_000 / 60), (12_000.0, 50_000 / 60), (math.inf, 80_000 / 60))


class GreatCircle:
    """The source that needs no roads: symmetric, and 0 only between places with the same coordinates."""

    def table(self, points: Sequence[Point]) -> DriveTable:
        metres = [[0] * len(points) for _ in points]
        for a, start in enumerate(points):
            for b in range(a):
                metres[a][b] = metres[b][a] = drive_metres(start, points[b])
        minutes = (tuple(drive_minutes(cell) for cell in row) for row in metres)
        return DriveTable(tuple(minutes), tuple(tuple(row) for row in metres), ESTIMATED)


def road_metres(air_metres: float) -> float:
    """Likely metres by road for a distance through the air."""
    nearby = min(air_metres, NEARBY_METRES)
    return FAR_CIRCUITY * air_metres + (NEARBY_CIRCUITY - FAR_CIRCUITY) * nearby


def drive_metres(start: Point, end: Point) -> int:
    """Whole metres, rounded up; at least 1 between two different places."""
    if start == end:
        return 0
    return max(1, math.ceil(road_metres(great_circle_metres(*start, *end))))


def drive_minutes(metres: int) -> int:
    """Whole minutes for so many metres by road, rounded up: at least 1 where there is any way to drive."""
    minutes, covered = 0.0, 0.0
    for limit, metres_per_minute in SPEED_BANDS:
        minutes += max(0.0, min(metres, limit) - covered) / metres_per_minute
        covered = limit
    return math.ceil(minutes)
