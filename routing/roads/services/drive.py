"""Drive tables for plans: over the roads in use, else estimated. One table never mixes sources."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.conf import settings

from routing.roads.domain import LONGEST_SOURCE, DriveTable, DriveTimes, GreatCircle, Point
from routing.roads.errors import ServerFailed
from routing.roads.selectors import ANY_HOUR, DriveHours, drive_speeds, road_map_current
from routing.roads.services.server import ALL_SECONDS, RoadServer

logger = logging.getLogger(__name__)
SERVER_FAILED = "; server failed"
MOST_ADDED = 24  # letters that stay free for what is added to a source: that a server failed, and "learnt"


@dataclass(frozen=True, slots=True)
class ServerUse:
    """How a routing server is asked: not at all where it `failed` for another part of the same plan, which would mix
    two sources then; else for `seconds` at most."""

    failed: bool = False
    seconds: float = ALL_SECONDS


ASK_SERVER = ServerUse()
FOR_A_PAGE = ServerUse(seconds=3.0)  # somebody waits for what it shows; our choice, no source


def drive_table(
    points: Sequence[Point],
    *,
    drive_times: DriveTimes | None = None,
    hours: DriveHours | None = None,
    remember: bool = True,
    keep: bool = True,
    server: ServerUse = ASK_SERVER,
) -> DriveTable:
    """Drive minutes and metres between all `points` (latitude, longitude), from one source that the table names.

    The first point is the yard: drives from it, between the others and back to it are those of their `hours`;
    without hours traffic is free. Drives over roads are read from the database (`remember`), and what it lacked is
    kept there (`keep`; not for a page that only looks). Without a road map, or where its file is gone, the table is
    estimated and says so. A routing server that is set is asked first; where it fails the rest goes on without it, and
    the source says that it failed.
    """
    if drive_times is not None:
        return drive_times.table(points)
    is_set = bool(settings.WALLDAY_ROADS_URL)
    answer = _from_server(points, server.seconds) if is_set and not server.failed else None
    if answer is not None:
        return answer
    roads = _roads(hours, remember, keep) if road_map_current() else None
    table = (roads or GreatCircle()).table(points)
    words = table.source[: LONGEST_SOURCE - MOST_ADDED]
    return replace(table, source=words + SERVER_FAILED if is_set else words, server_failed=is_set)


def _from_server(points: Sequence[Point], seconds: float) -> DriveTable | None:
    """The server's table; None where it failed."""
    try:
        return RoadServer(settings.WALLDAY_ROADS_KIND, settings.WALLDAY_ROADS_URL, all_seconds=seconds).table(points)
    except ServerFailed as error:
        logger.warning("routing server: %s", error.message)
        return None


def _roads(hours: DriveHours | None, remember: bool, keep: bool) -> DriveTimes | None:
    """The roads in use at these hours. What routes on them is imported here, since it brings the compiler along."""
    from routing.roads.services.over_roads import Roads, roads_in_use

    source = roads_in_use()
    if source is None:
        return None
    speeds = drive_speeds(hours) if hours else ANY_HOUR
    return Roads(source.graph, source.label, speeds, remember=remember, keep=keep)
