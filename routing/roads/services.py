from collections.abc import Sequence

from routing.roads.domain import DriveTable, DriveTimes, GreatCircle, Point


def drive_table(points: Sequence[Point], *, drive_times: DriveTimes | None = None) -> DriveTable:
    """Drive minutes and metres between all `points` (latitude, longitude), from one source that the table names."""
    return (drive_times or GreatCircle()).table(points)
