"""An invented country of many towns, written as an OpenStreetMap extract of any size.

Towns are stretches of `land` 6 km apart; a primary road leads from each to the next one north and east. Between two
rows of towns runs a motorway of two one-way carriageways, with four ramps wherever a road north crosses it.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tests.routing.roads.land import SOUTH, SPACING_DEGREES, WEST, LandWay, lattice, lattice_ways, write_streets

STRETCH = 1 / np.cos(np.radians(SOUTH))  # a degree east is so much shorter than one north
GAP = 40  # lattice steps from one town to the next
MAIN_LINES = 40  # every so many lines of a town's lattice is a primary road
POINT_EVERY = 8  # lattice steps between two points of a country road
HALF_WIDTH, RAMP, TERMINAL = 0.15, 3.0, 1.0
"""Lattice steps from the middle of a motorway: of each carriageway across, of ramps along, of their ends across."""


@dataclass
class Country:
    """Towns in rows and columns, each of `side` by `side` crossings. Places are lattice steps (north, east)."""

    towns: int
    side: int
    rng: np.random.Generator
    lat: list[float] = field(default_factory=list)
    lon: list[float] = field(default_factory=list)
    ways: list[LandWay] = field(default_factory=list)

    @property
    def pitch(self) -> int:
        return self.side + GAP

    @property
    def main(self) -> int:
        """The line of each town that is its main road, north and east."""
        return (self.side - 1) // MAIN_LINES * MAIN_LINES

    def crossing(self, row: int, column: int, north: int, east: int) -> int:
        """The number of a crossing of a town."""
        return (row * self.towns + column) * self.side**2 + north * self.side + east

    def point(self, north: float, east: float) -> int:
        """A new point outside the towns."""
        self.lat.append(SOUTH + north * SPACING_DEGREES)
        self.lon.append(WEST + east * SPACING_DEGREES * STRETCH)
        return len(self.lat) - 1

    def way(self, nodes: list[int], **tags: str) -> None:
        self.ways.append((nodes, tags))

    def town(self, row: int, column: int) -> None:
        first = len(self.lat)
        lat, lon = lattice(self.rng, self.side)
        self.lat += (lat + row * self.pitch * SPACING_DEGREES).tolist()
        self.lon += (lon + column * self.pitch * SPACING_DEGREES * STRETCH).tolist()
        self.ways += [([first + node for node in nodes], tags) for nodes, tags in lattice_ways(self.rng, self.side)]


def write_country(path: Path, *, towns: int, side: int, seed: int = 1) -> int:
    """Write a country of `towns` by `towns` towns; returns the number of their crossings. Same seed, same file."""
    country = Country(towns, side, np.random.default_rng(seed))
    for row in range(towns):
        for column in range(towns):
            country.town(row, column)
    for row in range(towns):
        for column in range(towns - 1):
            _road_east(country, row, column)
    for row in range(towns - 1):
        ramps = [_road_north(country, row, column) for column in range(towns)]
        _motorway(country, row, ramps)
    write_streets(path, country.rng, np.array(country.lat), np.array(country.lon), country.ways)
    return towns**2 * side**2


def _road_east(country: Country, row: int, column: int) -> None:
    start = country.crossing(row, column, country.main, country.side - 1)
    end = country.crossing(row, column + 1, country.main, 0)
    west, north = column * country.pitch + country.side - 1, row * country.pitch + country.main
    between = [country.point(north + _shake(country), west + step) for step in range(POINT_EVERY, GAP, POINT_EVERY)]
    country.way([start, *between, end], highway="primary", maxspeed="55 mph", name=f"Road east {row}-{column}")


def _road_north(country: Country, row: int, column: int) -> tuple[int, int]:
    """The road to the next town north, over the motorway half way; the ends of the ramps south and north of it."""
    start = country.crossing(row, column, country.side - 1, country.main)
    end = country.crossing(row + 1, column, 0, country.main)
    east, south = column * country.pitch + country.main, row * country.pitch + country.side - 1
    half = GAP // 2
    ramp_ends = tuple(country.point(south + half + away, east) for away in (-TERMINAL, TERMINAL))
    tags = {"highway": "primary", "maxspeed": "55 mph", "name": f"Road north {row}-{column}"}
    for first, last, steps in ((start, ramp_ends[0], (0, half)), (ramp_ends[1], end, (half, GAP))):
        inner = range(steps[0] + POINT_EVERY, steps[1] - 1, POINT_EVERY)
        country.way([first, *(country.point(south + step, east + _shake(country)) for step in inner), last], **tags)
    country.way([*ramp_ends], bridge="yes", layer="1", **tags)
    return ramp_ends[0], ramp_ends[1]


def _motorway(country: Country, row: int, ramps: list[tuple[int, int]]) -> None:
    """Traffic keeps right: the southern carriageway leads east."""
    middle = row * country.pitch + country.side - 1 + GAP // 2
    for ends_at, across, ahead in ((0, -HALF_WIDTH, 1), (1, HALF_WIDTH, -1)):
        nodes: list[int] = []
        for column in range(country.towns)[::ahead]:
            east = column * country.pitch + country.main
            leaves, joins = (country.point(middle + across, east + ahead * along) for along in (-RAMP, RAMP))
            terminal = ramps[column][ends_at]
            for ramp in ([leaves, terminal], [terminal, joins]):
                country.way(ramp, highway="motorway_link", oneway="yes", maxspeed="40 mph")
            nodes += [leaves, joins]
        for pair in zip(nodes, nodes[1:], strict=False):
            country.way(list(pair), highway="motorway", oneway="yes", maxspeed="70 mph", ref=f"M {row + 1}")


def _shake(country: Country) -> float:
    return float(country.rng.uniform(-1.0, 1.0))
