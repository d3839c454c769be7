"""Where the parts of the chalk's pictures go: a house seen from above, readings over time.

Coordinates are in the drawing's own units; the templates only draw. Colour never stands alone: every mark carries its
number or word.
"""

import math
from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import numpy as np

from jobs.chalking.domain.forecast import level_at
from jobs.chalking.domain.seasons import dose_between
from jobs.chalking.models import WallForecast
from jobs.customers.models import Property, Wall, WallKind
from jobs.walkthroughs.domain import step_text
from jobs.walkthroughs.models import ChalkReading

# --- the house seen from above ---

HOUSE = 320
STOREY_FEET = 9
LONGEST_FEET = 60
ROOM = 92.0  # from the middle to the farthest wall
LABEL_OUT = 20.0
ELEMENT_OUT = 52.0
ELEMENT_APART = 30.0
SAME_WAY = 20  # degrees


@dataclass(frozen=True)
class DrawnWall:
    """A wall as a bar, or an element as a mark outside its wall. `grade` is 0 to 5, or `none` where never read;
    `is_suspect` where nobody read it and most walls like it have passed the limit."""

    name: str
    text: str
    grade: str
    is_element: bool
    path: str
    x: float
    y: float
    is_suspect: bool = False

    @property
    def text_y(self) -> float:
        return round(self.y + 4.5, 1)


@dataclass(frozen=True)
class HouseSketch:
    size: int
    walls: tuple[DrawnWall, ...]
    street_x: float | None
    street_y: float | None

    @property
    def is_empty(self) -> bool:
        return not self.walls


def grade_of(reading: Decimal | None) -> str:
    """The colour of a reading: whole steps, halves with the step below."""
    return "none" if reading is None else str(int(reading))


def house_sketch(
    place: Property, walls: Sequence[Wall], readings: dict[int, ChalkReading], suspects: Container[int] = ()
) -> HouseSketch:
    """North is up. Faces are as long as their areas say where those are known; walls without a facing are left out.

    `suspects` are the ids of walls that nobody read and most walls like which have passed the limit.
    """
    facing = [(wall, wall.facing_degrees) for wall in walls if wall.facing_degrees is not None]
    faces = [(wall, degrees) for wall, degrees in facing if wall.kind == WallKind.FACE]
    runs = {wall.pk: _feet(wall) for wall, _degrees in faces}
    out = {wall.pk: _half_depth(degrees, faces, runs) for wall, degrees in faces}
    longest = max([*out.values(), *(run / 2 for run in runs.values()), 1.0])
    scale = ROOM / longest
    drawn = [_face(wall, degrees, out[wall.pk] * scale, runs[wall.pk] * scale / 2, readings) for wall, degrees in faces]
    for wall, degrees in facing:
        if wall.kind != WallKind.FACE:
            before = [other for other, way in facing if other.kind != WallKind.FACE and way == degrees]
            sideways = (before.index(wall) - (len(before) - 1) / 2) * ELEMENT_APART
            depth = next((out[face.pk] * scale for face, way in faces if _apart(way, degrees) <= SAME_WAY), ROOM)
            drawn.append(_element(wall, degrees, depth + ELEMENT_OUT, sideways, readings))
    shown = [wall for wall, _degrees in faces] + [wall for wall, _degrees in facing if wall.kind != WallKind.FACE]
    drawn = [replace(mark, is_suspect=wall.pk in suspects) for wall, mark in zip(shown, drawn, strict=True)]
    street = None if place.front_degrees is None else _point(place.front_degrees, HOUSE / 2 - 12, 0.0)
    return HouseSketch(HOUSE, tuple(drawn), *(street or (None, None)))


def _feet(wall: Wall) -> float:
    if not wall.area_sqft:
        return LONGEST_FEET / 2
    return min(max(wall.area_sqft / (STOREY_FEET * max(wall.storeys, 1)), 12.0), LONGEST_FEET)


def _apart(one: float, other: float) -> float:
    turned = abs(one - other) % 360
    return min(turned, 360 - turned)


def _half_depth(degrees: int, faces: Sequence[tuple[Wall, int]], runs: dict[int, float]) -> float:
    """How far a wall stands from the middle: half the run of the walls at its sides."""
    sides = [runs[wall.pk] for wall, way in faces if 45 < _apart(way, degrees) < 135]
    return (sum(sides) / len(sides) if sides else LONGEST_FEET / 2) / 2


def _point(degrees: float, out: float, sideways: float) -> tuple[float, float]:
    """A place `out` in the direction that a wall looks to, and `sideways` along it."""
    turn = math.radians(degrees)
    x = HOUSE / 2 + out * math.sin(turn) + sideways * math.cos(turn)
    y = HOUSE / 2 - out * math.cos(turn) + sideways * math.sin(turn)
    return round(min(max(x, 12), HOUSE - 12), 1), round(min(max(y, 12), HOUSE - 12), 1)


def _face(wall: Wall, degrees: int, out: float, half: float, readings: dict[int, ChalkReading]) -> DrawnWall:
    (x1, y1), (x2, y2) = _point(degrees, out, -half), _point(degrees, out, half)
    x, y = _point(degrees, out + LABEL_OUT, 0.0)
    return _drawn(wall, readings, is_element=False, path=f"M{x1} {y1}L{x2} {y2}", x=x, y=y)


def _element(wall: Wall, degrees: int, out: float, sideways: float, readings: dict[int, ChalkReading]) -> DrawnWall:
    x, y = _point(degrees, out, sideways)
    return _drawn(wall, readings, is_element=True, path="", x=x, y=y)


def _drawn(wall: Wall, readings: dict[int, ChalkReading], **parts: Any) -> DrawnWall:
    found = readings.get(wall.pk)
    text = "?" if found is None else step_text(found.reading)
    return DrawnWall(wall.name, text, grade_of(found.reading if found else None), **parts)


# --- readings over time ---

CHART_WIDTH, CHART_HEIGHT = 328, 168
LEFT, RIGHT, TOP, BOTTOM = 22.0, 320.0, 12.0, 142.0
HALF_A_YEAR_TEXT = 16.0
MOST_LEVEL = 5.0
SAMPLES = 25
BAR = 14.0
MOST_BACK = timedelta(days=8 * 365)  # shown before today of what walls like an untested one did
LEAST_AHEAD, MOST_AHEAD = timedelta(days=2 * 365), timedelta(days=8 * 365)
BEFORE_FIRST = timedelta(days=120)


@dataclass(frozen=True)
class ReadingChart:
    """Readings as points, the forecast as a band (80 percent) with its middle; `limit_y` is the owner's limit."""

    width: int
    height: int
    left: float
    right: float
    top: float
    bottom: float
    points: tuple[tuple[float, float, str], ...]
    band: str
    middle: str
    limit_y: float
    today_x: float
    levels: tuple[tuple[float, str], ...]
    years: tuple[tuple[float, str], ...]


def reading_chart(
    readings: Sequence[ChalkReading], row: WallForecast | None, *, limit: float, shape: float, today: date
) -> ReadingChart:
    """Lay out one wall; `readings` in any order. `shape` is the exponent of the fitted growth.

    An untested wall has no band of chalk, only a bar on the limit from the early day to the late one.
    """
    first = min((reading.read_on for reading in readings), default=today) - BEFORE_FIRST
    if row and row.is_untested:
        first = min(first, max(row.early_on or today, today - MOST_BACK))
    last = _last_day(row, today)
    width = (last - first).days

    def x_of(day: date) -> float:
        return round(LEFT + (RIGHT - LEFT) * (day - first).days / width, 1)

    if row and row.is_untested:
        band, middle = _bar(row, first, last, x_of, limit), ""
    else:
        band, middle = _band(row, first, last, x_of, limit, shape) if row else ("", "")
    years = range(first.year + 1, last.year + 1)
    every = max(1, math.ceil(len(years) / 6))
    return ReadingChart(
        CHART_WIDTH, CHART_HEIGHT, LEFT, RIGHT, TOP, BOTTOM,
        points=tuple((x_of(r.read_on), y_of(float(r.reading)), step_text(r.reading)) for r in readings),
        band=band,
        middle=middle,
        limit_y=y_of(limit),
        today_x=x_of(today),
        levels=tuple((y_of(level), str(level)) for level in range(6)),
        years=tuple(_year_mark(year, x_of(date(year, 1, 1))) for year in years if year % every == 0),
    )  # fmt: skip


def _year_mark(year: int, x: float) -> tuple[float, str]:
    """A line where the year begins, with its number where that has room."""
    return x, str(year) if x - HALF_A_YEAR_TEXT >= LEFT and x + HALF_A_YEAR_TEXT <= CHART_WIDTH else ""


def y_of(level: float) -> float:
    """Height of a level; everything above 5 at the top."""
    return round(BOTTOM - (BOTTOM - TOP) * min(max(level, 0.0), MOST_LEVEL) / MOST_LEVEL, 1)


def _last_day(row: WallForecast | None, today: date) -> date:
    late = row.late_on if row and row.late_on else today
    return min(max(late + BEFORE_FIRST, today + LEAST_AHEAD), today + MOST_AHEAD)


def _band(row: WallForecast, first: date, last: date, x_of: Any, limit: float, shape: float) -> tuple[str, str]:
    """Outline of the band and line of its middle, from the start of the surface's present life on."""
    doses = (row.early_dose, row.middle_dose, row.late_dose)
    if row.since is None or None in doses:
        return "", ""
    begin = max(first, row.since)
    days = [begin + (last - begin) * k / (SAMPLES - 1) for k in range(SAMPLES)]
    by_month = np.repeat(np.array([row.dose_by_month]), SAMPLES, axis=0)
    since = np.full(SAMPLES, np.datetime64(row.since, "D"))
    dose = dose_between(by_month, since, np.array(days, dtype="datetime64[D]"))
    high, middle, low = (
        [(x_of(day), y_of(level)) for day, level in zip(days, levels.tolist(), strict=True)]
        for levels in (level_at(dose, np.full(SAMPLES, at), limit=limit, shape=shape) for at in doses)
    )
    return f"M{_line([*high, *reversed(low)])}z", f"M{_line(middle)}"


def bar_tells(row: WallForecast, today: date) -> bool:
    """Whether a chart of an untested wall shows where its bar begins or ends."""
    if not row.is_untested or row.refusal or row.early_on is None or row.late_on is None:
        return False
    return any(today - MOST_BACK < day < today + MOST_AHEAD for day in (row.early_on, row.late_on))


def _bar(row: WallForecast, first: date, last: date, x_of: Any, limit: float) -> str:
    """Outline of the bar; empty where nothing is to be told."""
    if row.refusal or row.early_on is None or row.late_on is None or row.late_on <= first:
        return ""
    left, right = (x_of(min(max(day, first), last)) for day in (row.early_on, row.late_on))
    high, low = y_of(limit) - BAR / 2, y_of(limit) + BAR / 2
    return f"M{_line([(left, high), (right, high), (right, low), (left, low)])}z"


def _line(points: Iterable[tuple[float, float]]) -> str:
    return "L".join(f"{x:g} {y:g}" for x, y in points)
