"""The ways themselves: the line along the streets and the turns, remembered in the database.

`ways_keep` is for background work after a plan was stored; `ways_between` reads what it kept, so that a page loads no
graph and writes nothing. What is not kept yet is searched for the page, and remembered by the process alone.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache

from routing.roads.domain import Point
from routing.roads.domain.speeds import HourClass
from routing.roads.domain.way import Step, Turn, Way
from routing.roads.models import RoadWay
from routing.roads.selectors import ANY_HOUR, DriveHours, drive_speeds, road_map_current

DIGITS = 6  # of a degree: 0.1 m
KEPT = 1_024  # ways that a process remembers by itself

_Key = tuple[str, str, str]
"""Key of the hours' speeds, start, end."""


def ways_between(places: Sequence[Point], *, hours: DriveHours | None = None) -> list[Way]:
    """The way from each place to the next; the first and the last leg at the hours of leaving and returning.

    Writes nothing.
    """
    current, asked = road_map_current(), _asked(places, hours)
    if current is None or not asked:
        return [Way(one.leg) for one in asked]
    known = _known(current.version, asked)
    known |= _searched(_missing(asked, known))
    return [known.get(one.key) or Way(one.leg) for one in asked]


def ways_keep(places: Sequence[Point], *, hours: DriveHours | None = None) -> int:
    """Search the ways that `ways_between` will be asked for and keep them; returns how many were missing."""
    current, asked = road_map_current(), _asked(places, hours)
    if current is None or not asked:
        return 0
    found = _searched(_missing(asked, _known(current.version, asked)))
    RoadWay.objects.bulk_create(
        (_row(current.version, key, way) for key, way in found.items()),
        ignore_conflicts=True,
    )
    return len(found)


def _asked(places: Sequence[Point], hours: DriveHours | None) -> "list[_Asked]":
    legs = [(_rounded(a), _rounded(b)) for a, b in zip(places, places[1:], strict=False)]
    if not legs:
        return []
    speeds = drive_speeds(hours) if hours else ANY_HOUR
    at = [speeds.between] * len(legs)
    at[0], at[-1] = speeds.leaving, speeds.returning
    return [_Asked(leg, hour) for leg, hour in zip(legs, at, strict=True)]


def _missing(asked: "Sequence[_Asked]", known: "dict[_Key, Way]") -> "list[_Asked]":
    return [one for one in dict.fromkeys(asked) if one.key not in known]


@dataclass(frozen=True, slots=True)
class _Asked:
    leg: tuple[Point, Point]
    hour: HourClass

    @property
    def ends(self) -> tuple[str, str]:
        return _text(self.leg[0]), _text(self.leg[1])

    @property
    def key(self) -> _Key:
        return (self.hour.key, *self.ends)


def _rounded(place: Point) -> Point:
    return round(place[0], DIGITS), round(place[1], DIGITS)


def _text(place: Point) -> str:
    return f"{place[0]:.{DIGITS}f},{place[1]:.{DIGITS}f}"


def _known(version: str, asked: Sequence[_Asked]) -> dict[_Key, Way]:
    starts, ends = zip(*(one.ends for one in asked), strict=True)
    rows = RoadWay.objects.filter(version=version, start__in=starts, end__in=ends)
    return {(row.speeds, row.start, row.end): _way(row) for row in rows}


def _way(row: RoadWay) -> Way:
    steps = tuple(Step(**(step | {"turn": Turn(step["turn"])})) for step in row.steps)
    return Way(tuple((lat, lon) for lat, lon in row.line), steps, row.is_road)


def _row(version: str, key: _Key, way: Way) -> RoadWay:
    speeds, start, end = key
    steps = [asdict(step) for step in way.steps]
    return RoadWay(
        version=version, speeds=speeds, start=start, end=end, line=way.line, steps=steps, is_road=way.is_road
    )


def _searched(missing: list[_Asked]) -> dict[_Key, Way]:
    """What searches brings the compiler along; nothing where the file of the roads is gone."""
    if not missing:
        return {}
    from routing.roads.services.over_roads import roads_in_use

    roads = roads_in_use()
    return {one.key: _search(roads.graph.version, one) for one in missing} if roads else {}


@lru_cache(maxsize=KEPT)
def _search(version: str, asked: _Asked) -> Way:
    from routing.roads.services.store import graph_load
    from routing.roads.services.way_search import way_search

    return way_search(graph_load(version), asked.leg, asked.hour)
