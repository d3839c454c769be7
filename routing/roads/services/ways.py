"""The ways themselves: the line along the streets and the turns, remembered in the database.

`ways_between` asks the database first, so that a page reads rows and loads no graph.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from routing.roads.domain import Point
from routing.roads.domain.speeds import HourClass
from routing.roads.domain.way import Step, Turn, Way
from routing.roads.models import RoadWay
from routing.roads.selectors import ANY_HOUR, DriveHours, drive_speeds, road_map_current

DIGITS = 6  # of a degree: 0.1 m


def ways_between(places: Sequence[Point], *, hours: DriveHours | None = None) -> list[Way]:
    """The way from each place to the next; the first and the last leg at the hours of leaving and returning."""
    legs = [(_rounded(a), _rounded(b)) for a, b in zip(places, places[1:], strict=False)]
    current = road_map_current()
    if current is None or not legs:
        return [Way(leg) for leg in legs]
    speeds = drive_speeds(hours) if hours else ANY_HOUR
    at = [speeds.between] * len(legs)
    at[0], at[-1] = speeds.leaving, speeds.returning
    asked = [_Asked(leg, hour) for leg, hour in zip(legs, at, strict=True)]
    known = _known(current.version, asked)
    missing = [one for one in dict.fromkeys(asked) if one.key not in known]
    if missing:
        known |= _found(missing)
    return [known.get(one.key) or Way(one.leg) for one in asked]


@dataclass(frozen=True, slots=True)
class _Asked:
    leg: tuple[Point, Point]
    hour: HourClass

    @property
    def ends(self) -> tuple[str, str]:
        return _text(self.leg[0]), _text(self.leg[1])

    @property
    def key(self) -> tuple[str, str, str]:
        return (self.hour.key, *self.ends)


def _rounded(place: Point) -> Point:
    return round(place[0], DIGITS), round(place[1], DIGITS)


def _text(place: Point) -> str:
    return f"{place[0]:.{DIGITS}f},{place[1]:.{DIGITS}f}"


def _known(version: str, asked: Sequence[_Asked]) -> dict[tuple[str, str, str], Way]:
    starts, ends = zip(*(one.ends for one in asked), strict=True)
    rows = RoadWay.objects.filter(version=version, start__in=starts, end__in=ends)
    return {(row.speeds, row.start, row.end): _way(row) for row in rows}


def _way(row: RoadWay) -> Way:
    steps = tuple(Step(**(step | {"turn": Turn(step["turn"])})) for step in row.steps)
    return Way(tuple((lat, lon) for lat, lon in row.line), steps, row.is_road)


def _found(missing: list[_Asked]) -> dict[tuple[str, str, str], Way]:
    """Search what is not known yet, and remember it. What searches brings the compiler along."""
    from routing.roads.services.over_roads import roads_in_use
    from routing.roads.services.way_search import way_search

    roads = roads_in_use()
    if roads is None:
        return {}
    found = {one.key: way_search(roads.graph, one.leg, one.hour) for one in missing}
    RoadWay.objects.bulk_create(
        (
            RoadWay(
                version=roads.graph.version,
                speeds=speeds,
                start=start,
                end=end,
                line=way.line,
                steps=[asdict(step) for step in way.steps],
                is_road=way.is_road,
            )
            for (speeds, start, end), way in found.items()
        ),
        ignore_conflicts=True,
    )
    return found
