"""A few streets by hand, as an extract: for tests that work out minutes on paper."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import osmium
from osmium.osm.mutable import Node, Relation, Way

from routing.roads.domain.graph import RoadGraph, road_graph_of
from routing.roads.domain.router import Leg
from routing.roads.domain.speeds import FREE, HourClass
from routing.roads.services.extract import extract_read

SOUTH, WEST = 0.0, 0.0  # at the equator a degree is as long to the north as to the east
METRES_PER_DEGREE = 111_195.08  # of a great circle on the sphere of shared.geo
Place = tuple[float, float]
"""Metres (east, north)."""


def at(place: Place) -> tuple[float, float]:
    """Latitude and longitude of a place."""
    return SOUTH + place[1] / METRES_PER_DEGREE, WEST + place[0] / METRES_PER_DEGREE


@dataclass
class Streets:
    """Collects streets by the names of their points; `write` makes the file, `graph` reads it as the product does."""

    points: Mapping[str, Place]
    tags: Mapping[str, Mapping[str, str]] = field(default_factory=dict)  # of points
    ways: list[tuple[Sequence[str], dict[str, str]]] = field(default_factory=list)
    rules: list[tuple[list[tuple[str, str, Any]], dict[str, str]]] = field(default_factory=list)

    def way(self, points: str, **tags: str) -> int:
        """A way over points named by single letters; returns its id. 60 km/h unless tagged: 1,000 m a minute."""
        tags = {key.replace("__", ":"): value for key, value in tags.items()}
        self.ways.append((list(points), {"highway": "residential", "maxspeed": "60"} | tags))
        return len(self.ways)

    def rule(self, kind: str, start: int, via: str | Sequence[int], end: int, **tags: str) -> None:
        """A turn rule via a point or via ways."""
        node_ids = {name: number for number, name in enumerate(self.points, start=1)}
        between = [("n", node_ids[via], "via")] if isinstance(via, str) else [("w", way, "via") for way in via]
        members = [("w", start, "from"), *between, ("w", end, "to")]
        tags = {key.replace("__", ":"): value for key, value in tags.items()}
        self.rules.append((members, {"type": "restriction", "restriction": kind} | tags))

    def write(self, path: Path) -> Path:
        node_ids = {name: number for number, name in enumerate(self.points, start=1)}
        with osmium.SimpleWriter(str(path), overwrite=True) as writer:
            for name, place in self.points.items():
                lat, lon = at(place)
                writer.add_node(Node(id=node_ids[name], location=(lon, lat), tags=dict(self.tags.get(name, {}))))
            for number, (names, tags) in enumerate(self.ways, start=1):
                tags = {key: value for key, value in tags.items() if value}
                writer.add_way(Way(id=number, nodes=[node_ids[name] for name in names], tags=tags))
            for number, (members, tags) in enumerate(self.rules, start=1):
                tags = {key: value for key, value in tags.items() if value}
                writer.add_relation(Relation(id=number, members=members, tags=tags))
        return path

    def graph(self, folder: Path) -> RoadGraph:
        return road_graph_of(extract_read(self.write(folder / "streets.osm.pbf")))[0]


def leg(graph: RoadGraph, start: Place, end: Place, hour: HourClass = FREE) -> Leg | None:
    """The way between two places; the matrix must say the same."""
    snaps = [graph.snap(at(start)), graph.snap(at(end))]
    assert all(snaps), "a place of the test lies off the streets"
    router = graph.router(hour)
    found = router.way(*snaps)  # type: ignore[arg-type]
    ms, dm = router.costs(snaps[:1], snaps[1:])  # type: ignore[arg-type]
    assert (int(ms[0, 0]), int(dm[0, 0])) == ((found.milliseconds, found.decimetres) if found else (-1, -1))
    return found


def metres(graph: RoadGraph, start: Place, end: Place) -> int | None:
    """Whole metres by road, None where there is no way."""
    found = leg(graph, start, end)
    return None if found is None else round(found.decimetres / 10)


def seconds(graph: RoadGraph, start: Place, end: Place, hour: HourClass = FREE) -> float | None:
    found = leg(graph, start, end, hour)
    return None if found is None else found.milliseconds / 1000
