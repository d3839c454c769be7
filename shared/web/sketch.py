"""A sketch map of a day's routes: from places in degrees to a drawing. No tiles, nothing from other servers.

Equirectangular projection around the middle of the places: east-west degrees shrink with the cosine of the latitude.
Over a working day's distances its error is far below the width of a line.
"""

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from shared.units import METRES_PER_MILE

# As in charts.py: the drawing's own units are CSS pixels on the screens that each layout is for.
WIDE, NARROW = 640, 328
LEAST_HEIGHT, MOST_HEIGHT = 280, 600
MARGIN = 34
METRES_PER_DEGREE = 111_195.0  # of latitude on a sphere of 6371.0 km; the scale bar needs no more
LINE_STYLES = 6
DOT_GAP = 19.0  # between the middles of two stops, whose radius is 10
SPREAD_ROUNDS = 40
SCALE_MILES = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100)


@dataclass(frozen=True)
class Mark:
    x: float
    y: float
    text: str
    text_y: float
    title: str


@dataclass(frozen=True)
class SketchRoute:
    """`style` is 1 to 6 and names the dashes of the line; after six routes they begin anew."""

    label: str
    style: int
    path: str
    stops: tuple[Mark, ...]


@dataclass(frozen=True)
class Sketch:
    name: str
    width: int
    height: int
    routes: tuple[SketchRoute, ...]
    yard: Mark | None
    left_out: tuple[Mark, ...]
    roads: tuple[str, ...]
    scale_from: float
    scale_to: float
    scale_text: str

    @property
    def is_empty(self) -> bool:
        return not self.routes and not self.left_out


Place = tuple[float, float]  # latitude, longitude in degrees
Point = tuple[float, float]  # in the drawing


def _read(thing: Any, name: str) -> Any:
    return thing.get(name) if isinstance(thing, Mapping) else getattr(thing, name, None)


def _place(thing: Any) -> Place | None:
    """(latitude, longitude) of anything that has them, or of a pair."""
    if isinstance(thing, tuple | list):
        return float(thing[0]), float(thing[1])
    latitude, longitude = _read(thing, "latitude"), _read(thing, "longitude")
    return None if latitude is None or longitude is None else (float(latitude), float(longitude))


class Projection:
    """Degrees to drawing units, filling the width or the greatest height with an even scale."""

    def __init__(self, places: list[Place], width: int) -> None:
        self.width = width
        latitudes, longitudes = [lat for lat, _ in places], [lon for _, lon in places]
        middle = (min(latitudes) + max(latitudes)) / 2
        self.shrink = max(0.01, math.cos(math.radians(middle)))
        self.west, self.north = min(longitudes), max(latitudes)
        across = max((max(longitudes) - self.west) * self.shrink, 1e-4)
        down = max(self.north - min(latitudes), 1e-4)
        room = width - 2 * MARGIN
        self.per_degree = min(room / across, (MOST_HEIGHT - 2 * MARGIN) / down)
        self.height = max(LEAST_HEIGHT, math.ceil(down * self.per_degree + 2 * MARGIN))
        self.from_left = (width - across * self.per_degree) / 2
        self.from_top = (self.height - down * self.per_degree) / 2

    def __call__(self, place: Place) -> tuple[float, float]:
        latitude, longitude = place
        return (
            round(self.from_left + (longitude - self.west) * self.shrink * self.per_degree, 1),
            round(self.from_top + (self.north - latitude) * self.per_degree, 1),
        )

    def scale_bar(self) -> tuple[float, str]:
        """Length and words of the longest round number of miles that takes at most a third of the width."""
        per_mile = self.per_degree / METRES_PER_DEGREE * METRES_PER_MILE
        miles = max((m for m in SCALE_MILES if m * per_mile <= self.width / 3), default=SCALE_MILES[0])
        return round(miles * per_mile, 1), f"{miles:g} mi"


def sketch_of(
    routes: Iterable[Any],
    *,
    yard: Any = None,
    left_out: Iterable[Any] = (),
    roads: Iterable[Any] = (),
    width: int = WIDE,
) -> Sketch:
    """Lay out a day's routes.

    Each route is an object or mapping with `label` and `stops`; each stop has `latitude`, `longitude` and optionally
    `label` (its place on the route; counted from 1 where it is missing) and `title` (read out, such as the street).
    `yard` and each of `left_out` have `latitude`, `longitude` and optionally `title`. Routes begin and end at the yard
    where there is one. `roads` are lines of (latitude, longitude) pairs for the background. Places without
    coordinates are left out of the drawing.
    """
    given = [
        (str(_read(route, "label") or ""), [s for s in _read(route, "stops") or [] if _place(s)]) for route in routes
    ]
    lines = [[p for p in (_place(point) for point in road) if p] for road in roads]
    spare = [job for job in left_out if _place(job)]
    yard_place = None if yard is None else _place(yard)
    places = [p for _, stops in given for p in map(_place, stops) if p]
    places += [p for p in map(_place, spare) if p] + ([yard_place] if yard_place else [])
    project = Projection(places or [(0.0, 0.0)], width)
    dots = spread([project(_place(stop) or (0.0, 0.0)) for _, stops in given for stop in stops], width, project.height)
    length, scale_text = project.scale_bar()
    return Sketch(
        name="wide" if width >= WIDE else "narrow",
        width=width,
        height=project.height,
        routes=tuple(_routes(given, dots, project(yard_place) if yard_place else None)),
        yard=_mark(yard, "", project) if yard_place else None,
        left_out=tuple(_mark(job, "", project) for job in spare),
        roads=tuple(_path([project(place) for place in line]) for line in lines if len(line) > 1),
        scale_from=MARGIN / 2,
        scale_to=round(MARGIN / 2 + length, 1),
        scale_text=scale_text,
    )


def _mark(thing: Any, text: str, project: Projection) -> Mark:
    x, y = project(_place(thing) or (0.0, 0.0))
    return Mark(x, y, text, round(y + 4, 1), str(_read(thing, "title") or ""))


def _routes(given: list[tuple[str, list[Any]]], dots: list[Point], yard: Point | None) -> Iterator[SketchRoute]:
    """One line per route that has stops; `dots` holds the stops' points, route after route."""
    begin = 0
    for index, (label, stops) in enumerate(given):
        own, begin = dots[begin : begin + len(stops)], begin + len(stops)
        if stops:
            corners = [point for point in (yard, *own, yard) if point]
            marks = (_stop(stop, number, point) for number, (stop, point) in enumerate(zip(stops, own, strict=True), 1))
            yield SketchRoute(label, index % LINE_STYLES + 1, _path(corners), tuple(marks))


def _stop(stop: Any, number: int, point: Point) -> Mark:
    x, y = point
    return Mark(x, y, str(_read(stop, "label") or number), round(y + 4, 1), str(_read(stop, "title") or ""))


def spread(points: list[Point], width: float, height: float, least: float = DOT_GAP) -> list[Point]:
    """Push points apart until each pair is `least` apart, as far as a few rounds go; they stay in the drawing.

    Houses of one street would cover each other's numbers otherwise. Points that coincide part along their order.
    """
    moved = [list(point) for point in points]
    for _ in range(SPREAD_ROUNDS):
        crowded = False
        for i, here in enumerate(moved):
            for there in moved[i + 1 :]:
                across, down = there[0] - here[0], there[1] - here[1]
                apart = math.hypot(across, down)
                if apart >= least:
                    continue
                crowded = True
                push = (least - apart) / 2 + 0.05
                across, down = (across / apart, down / apart) if apart > 0.01 else (math.cos(i), math.sin(i))
                here[0], here[1] = here[0] - across * push, here[1] - down * push
                there[0], there[1] = there[0] + across * push, there[1] + down * push
        for point in moved:
            point[0] = min(max(point[0], MARGIN / 2), width - MARGIN / 2)
            point[1] = min(max(point[1], MARGIN / 2), height - MARGIN / 2)
        if not crowded:
            break
    return [(round(x, 1), round(y, 1)) for x, y in moved]


def _path(corners: list[Point]) -> str:
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in corners)
