"""What a map shows, as GeoJSON (RFC 7946): marks and lines. Drawn by `static/web/map.js`; nothing here draws.

    marks = [Mark(40.01, -83.02, title="12 Elm Street", text="3", href="/jobs/7/", note="9:15 to 11:00")]
    {% place_map marks lines=lines title="Today's routes" %}

`text` stands in the mark, `title` and `note` open beside it, `href` leads on from there. What the map says must also
stand on the page in words, since a map can be neither read out nor drawn without JavaScript.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

Place = tuple[float, float]
"""Latitude and longitude in degrees."""
DIGITS = 6  # of a degree: 0.1 m
LINE_STYLES = 6


class Shape(StrEnum):
    """How a mark looks; each has a form of its own, so that no two differ by colour alone."""

    STOP = "stop"
    YARD = "yard"
    LEFT_OUT = "left-out"
    PLACE = "place"
    DOT = "dot"
    GUESS = "guess"


@dataclass(frozen=True, slots=True)
class Mark:
    """One place on the map. `legend` names its kind below the map; marks of one kind share it."""

    latitude: float
    longitude: float
    title: str
    text: str = ""
    note: str = ""
    href: str = ""
    shape: Shape = Shape.PLACE
    legend: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """A line with the dashes of `style`, 1 to 6, as in the sketch; `title` names it in the legend."""

    places: Sequence[Place]
    title: str
    style: int = 1


def feature_collection(marks: Iterable[Mark], lines: Iterable[Line]) -> dict[str, Any]:
    """The GeoJSON of a map; lines of fewer than two places, which the format does not allow, are left out."""
    drawn = [_line(line) for line in lines if len(line.places) > 1]
    return {"type": "FeatureCollection", "features": [*drawn, *(_mark(mark) for mark in marks)]}


def legend_shapes(marks: Iterable[Mark]) -> list[tuple[Shape, str]]:
    """Each kind of mark with its words, once, in the order in which they come."""
    return list(dict.fromkeys((mark.shape, mark.legend) for mark in marks if mark.legend))


def legend_lines(lines: Iterable[Line]) -> list[tuple[int, str]]:
    """Each kind of line with its words, once; the parts of one route share them."""
    return list(dict.fromkeys((line.style, line.title) for line in lines if line.title))


def position(place: Place) -> list[float]:
    """As GeoJSON writes a place: longitude first."""
    return [round(place[1], DIGITS), round(place[0], DIGITS)]


def _mark(mark: Mark) -> dict[str, Any]:
    words = {"shape": mark.shape.value, "title": mark.title, "text": mark.text, "note": mark.note, "href": mark.href}
    where = {"type": "Point", "coordinates": position((mark.latitude, mark.longitude))}
    return {"type": "Feature", "geometry": where, "properties": {name: word for name, word in words.items() if word}}


def _line(line: Line) -> dict[str, Any]:
    where = {"type": "LineString", "coordinates": [position(place) for place in line.places]}
    return {"type": "Feature", "geometry": where, "properties": {"title": line.title, "style": line.style}}
