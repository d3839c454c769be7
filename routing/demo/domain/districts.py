"""How each square mile of the town is laid out: one drawing function per pattern, on the 20 m lattice.

A cell is bounded by the section roads; what is drawn inside ends on them, so everything hangs together.
"""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from routing.demo.domain.plane import Point

# One letter per cell, west to east; rows from north to south. The river runs between the third and fourth row.
PLAN_OF_TOWN = ("ffdccdff", "fdcppcGf", "fcpooidf", "fdpoopcf", "fcdppdcf", "ffdccdff")
COLUMN_EDGES = (-6400, -4800, -3200, -1600, 0, 1600, 3200, 4800, 6400)
ROW_EDGES = ((3200, 4800), (1600, 3200), (80, 1600), (-1600, -80), (-3200, -1600), (-4800, -3200))
KINDS = {
    "o": "old town", "p": "plain streets", "c": "crescents", "d": "dead ends",
    "G": "gated estate", "i": "industry", "f": "fields",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cell:
    """One square of the plan: its kind and its edges in metres."""

    kind: str
    x0: int
    y0: int
    x1: int
    y1: int


@dataclass(frozen=True, slots=True)
class Line:
    """One street to be: its corners on the lattice and what kind of street it is."""

    corners: tuple[Point, ...]
    suffix: str
    one_way: bool = False
    private: bool = False
    road_class: str = "residential"
    speed_mph: int = 25
    houses: bool = True


def cells() -> Iterator[Cell]:
    """All squares of the plan, north-west to south-east."""
    for (y0, y1), letters in zip(ROW_EDGES, PLAN_OF_TOWN, strict=True):
        for x0, x1, letter in zip(COLUMN_EDGES, COLUMN_EDGES[1:], letters, strict=False):
            yield Cell(letter, x0, y0, x1, y1)


def lines_of(cell: Cell, rng: random.Random) -> list[Line]:
    """The streets inside a cell."""
    return PATTERNS[cell.kind](cell, rng)


def _old_town(cell: Cell, rng: random.Random) -> list[Line]:
    """Small blocks; every second pair of streets runs one way, in turn."""
    lines = []
    for k, x in enumerate(range(cell.x0 + 160, cell.x1 - 100, 160)):
        ends = ((x, cell.y0), (x, cell.y1))
        lines.append(Line(ends if k % 2 else ends[::-1], "Street", one_way=k % 4 in (1, 2)))
    for k, y in enumerate(range(_up(cell.y0, 160) + 160, cell.y1 - 80, 160)):
        ends = ((cell.x0, y), (cell.x1, y))
        lines.append(Line(ends if k % 2 else ends[::-1], "Avenue", one_way=k % 4 in (0, 1)))
    return lines


def _plain(cell: Cell, rng: random.Random) -> list[Line]:
    """Long blocks; some cross streets stop half way."""
    lines = [Line(((x, cell.y0), (x, cell.y1)), "Avenue") for x in range(cell.x0 + 320, cell.x1 - 160, 320)]
    for y in range(_up(cell.y0, 160) + 160, cell.y1 - 80, 160):
        west, east = rng.choice([(0, 1600), (0, 1600), (320, 1600), (0, 1280), (320, 960)])
        lines.append(Line(((cell.x0 + west, y), (cell.x0 + east, y)), "Street"))
    return lines


def _crescents(cell: Cell, rng: random.Random) -> list[Line]:
    """A drive through the middle with bows on both sides of it, one inside the other."""
    middle = _up((cell.y0 + cell.y1) // 2, 20)
    lines = [Line(((cell.x0, middle), (cell.x1, middle)), "Drive", road_class="tertiary", speed_mph=30)]
    for x, far in ((cell.x0 + 560, cell.y1), (cell.x0 + 1040, cell.y0)):
        lines.append(Line(((x, middle), (x, far)), "Drive"))
    for side in (1, -1):
        for west in (80, 620, 1100):
            width = rng.choice([280, 320, 360])
            depth = rng.choice([440, 520, 600])
            lines.append(_bow(cell.x0 + west, middle, width, side * depth, "Crescent"))
            lines.append(_bow(cell.x0 + west + 80, middle, width - 160, side * (depth - 200), "Loop"))
    return lines


def _bow(west: int, base: int, width: int, depth: int, suffix: str) -> Line:
    cut = 60 if depth > 0 else -60
    east = west + width
    corners = (
        (west, base), (west, base + depth - cut), (west + 60, base + depth),
        (east - 60, base + depth), (east, base + depth - cut), (east, base),
    )  # fmt: skip
    return Line(corners, suffix)


def _dead_ends(cell: Cell, rng: random.Random) -> list[Line]:
    """A ring drive with ways in, and short dead ends hanging on it inside and outside."""
    west, east = cell.x0 + 440, cell.x1 - 440
    south, north = _up(cell.y0, 20) + 420, cell.y1 - 420
    ring = ((west, south), (east, south), (east, north), (west, north), (west, south))
    lines = [Line(ring, "Drive")]
    middle_y, middle_x = _up((south + north) // 2, 20), _up((west + east) // 2, 20)
    ways_in = [
        ((cell.x0, middle_y), (west, middle_y)), ((east, middle_y), (cell.x1, middle_y)),
        ((middle_x, north), (middle_x, cell.y1)), ((middle_x, cell.y0), (middle_x, south)),
    ]  # fmt: skip
    lines += [Line(corners, "Parkway", road_class="tertiary", speed_mph=30) for corners in ways_in]
    for offset in range(120, east - west, 160):
        x = west + offset
        if abs(x - middle_x) < 60:
            continue
        lines.append(Line(((x, north), (x, north + rng.choice([200, 260, 320]))), "Court"))
        lines.append(Line(((x, south), (x, south - rng.choice([200, 260, 320]))), "Court"))
        lines.append(Line(((x, north), (x, north - rng.choice([160, 220, 280]))), "Place"))
        lines.append(Line(((x, south), (x, south + rng.choice([160, 220, 280]))), "Place"))
    return lines


def _gated(cell: Cell, rng: random.Random) -> list[Line]:
    """One way in from the west through a gate; everything behind it is private."""
    lines = []
    for line in _dead_ends(cell, rng):
        leads_out = line.suffix == "Parkway"
        if leads_out and line.corners[0][0] != cell.x0:
            continue
        lines.append(Line(line.corners, "Way" if leads_out else line.suffix, private=True, speed_mph=15))
    return lines


def _industry(cell: Cell, rng: random.Random) -> list[Line]:
    """Wide streets without houses; the yard stands here."""
    lines = [
        Line(((x, cell.y0), (x, cell.y1)), "Road", road_class="unclassified", speed_mph=30, houses=False)
        for x in (cell.x0 + 400, cell.x0 + 1200)
    ]
    middle = _up((cell.y0 + cell.y1) // 2, 20)
    return [*lines, Line(((cell.x0, middle), (cell.x1, middle)), "Road", speed_mph=30, houses=False)]


def _fields(cell: Cell, rng: random.Random) -> list[Line]:
    """One farm lane that ends at a farm."""
    x = cell.x0 + rng.randrange(400, 1201, 20)
    if rng.random() < 0.5:
        return []
    end = cell.y0 + rng.randrange(500, 1101, 20)
    return [Line(((x, cell.y0), (x, end)), "Lane", road_class="unclassified", speed_mph=35)]


def _up(value: int, step: int) -> int:
    return -(-value // step) * step


PATTERNS: dict[str, Callable[[Cell, random.Random], list[Line]]] = {
    "o": _old_town, "p": _plain, "c": _crescents, "d": _dead_ends,
    "G": _gated, "i": _industry, "f": _fields,
}  # fmt: skip
